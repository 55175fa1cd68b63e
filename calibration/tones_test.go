package calibration

import (
	"context"
	"math"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

// leadBench is a simulated bench whose samples are all that a test needs.
type leadBench struct {
	t   *testing.T
	sim *simboard.Simboard
}

func newLeadBench(t *testing.T, cfg simboard.Config) leadBench {
	t.Helper()
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return leadBench{t, sim}
}

// record makes a proved take of spec and reads it without a profile.
func (b leadBench) record(spec testsignals.Spec, patch capture.Patch, seriesOhms float64, inputs ...int) *analysis.Recording {
	b.t.Helper()
	sig, err := testsignals.Generate(spec)
	if err != nil {
		b.t.Fatal(err)
	}
	take, err := b.sim.Record(context.Background(), capture.Request{
		Signal: sig, Outputs: []int{1}, Inputs: inputs, Patch: patch, SeriesOhms: seriesOhms,
	})
	if err != nil {
		b.t.Fatal(err)
	}
	proof, err := capture.Check(take, sig, capture.Expect{NoSignal: patch == capture.KnownSource || patch == capture.Terminated})
	if err != nil {
		b.t.Fatal(err)
	}
	rec, _, err := Recording(take, proof, sig, b.patching(inputs), nil, time.Now())
	if err != nil {
		b.t.Fatal(err)
	}
	return rec
}

func (b leadBench) patching(inputs []int) []Patching {
	var p []Patching
	for _, in := range inputs {
		p = append(p, Patching{Output: string(rune('A' + in - 1)), Input: in})
	}
	return p
}

func (b leadBench) sweep(patch capture.Patch, seriesOhms float64, inputs ...int) *analysis.Recording {
	b.t.Helper()
	return b.record(testsignals.New(testsignals.Sweep, 48000, -12, 2), patch, seriesOhms, inputs...)
}

// inputs calibrates inputs 1 and 2 by a sweep through the lead, the output's
// full scale being right.
func (b leadBench) inputs() []Input {
	b.t.Helper()
	rec := b.sweep(capture.Loopback, 0, 1, 2)
	var all []Input
	for row := range 2 {
		in, err := NewInput(row+1, rec, row, FullScale{DBu: b.sim.Truth().OutputFullScaleDBu()})
		if err != nil {
			b.t.Fatal(err)
		}
		all = append(all, in)
	}
	return all
}

// A Hann window's main lobe is no parabola even in decibels: the worst that a
// parabola misses its peak by is some hundredths of a bin (Jacobsen & Kootsookos,
// IEEE Signal Processing Magazine 24(3), 2007, from memory).
func TestStrongestNear(t *testing.T) {
	const rate, n = 48000.0, 96000
	for _, hz := range []float64{990.1, 1000, 1000.26, 1013.7} {
		x := make([]float64, n)
		for i := range x {
			// The stronger line is outside of where it is looked for.
			x[i] = 0.1*math.Sin(2*math.Pi*hz*float64(i)/rate) + math.Sin(2*math.Pi*1500*float64(i)/rate)
		}
		got, err := strongestNear(x, rate, 1000, 0.02)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "frequency in Hz", got, hz, 0.05*rate/n)
	}
	if _, err := strongestNear(make([]float64, n), rate, 1000, 0.02); err == nil {
		t.Error("a line was found in nothing")
	}
}
