//go:build unix

package soundcard

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"boardproof/capture"
	"boardproof/capture/soundcard/jacktest"
	"boardproof/testsignals"
)

// latency returns where shape, played at frame at, arrives in x, less at, in
// frames: the peak of the cross-correlation, with a parabola through its top
// three points (common practice; exact to second order).
func latency(x, shape []float64, at, upTo int) float64 {
	c := func(k int) float64 {
		dot := 0.0
		for i, v := range shape {
			dot += v * x[at+k+i]
		}
		return dot
	}
	best, top := 0, 0.0
	for k := 1; k < upTo; k++ {
		if v := math.Abs(c(k)); v > top {
			best, top = k, v
		}
	}
	a, b, d := c(best-1), c(best), c(best+1)
	return float64(best) + (a-d)/(2*(a-2*b+d))
}

// The estimator itself, against a mark delayed by a windowed-sinc of known
// fraction.
func TestLatencyEstimator(t *testing.T) {
	mark := testsignals.Mark(48000)
	for _, delay := range []float64{40, 40.25, 40.5, 63.9} {
		x := make([]float64, 2000)
		for k := range x {
			for i, v := range mark {
				if u := float64(k-100-i) - delay; math.Abs(u) < 40 {
					w := math.Cos(math.Pi * u / 80)
					x[k] += v * w * w * sinc(u)
				}
			}
		}
		if got := latency(x, mark, 100, 200); math.Abs(got-delay) > 0.01 {
			t.Errorf("a delay of %g frames is found as %g", delay, got)
		}
	}
}

func sinc(u float64) float64 {
	if u == 0 {
		return 1
	}
	return math.Sin(math.Pi*u) / (math.Pi * u)
}

// gain returns the least-squares gain from x to y.
func gain(x, y []float64) float64 {
	xy, xx := 0.0, 0.0
	for i, v := range x {
		xy += v * y[i]
		xx += v * v
	}
	return xy / xx
}

// worst returns the greatest difference between x and y and its frame.
func worst(x, y []float64) (difference float64, frame int) {
	for i, v := range x {
		if d := math.Abs(v - y[i]); d > difference {
			difference, frame = d, i
		}
	}
	return difference, frame
}

// missing says how a recording shows that frames were lost or added on the
// way, "" if it does not: the latency of the last mark is not that of the
// first, or there is a run of zeros, or of the period before again, where want,
// at that latency, has none.
func missing(got, want []float64, sig *testsignals.Signal) string {
	// The marks as they should come back, filtered or not.
	first, last := sig.Marks[0], sig.Marks[3]
	room := len(got) - sig.Frames
	a := latency(got, want[first.Start:first.End], first.Start, room)
	z := latency(got, want[last.Start:last.End], last.Start, room)
	if math.Abs(a-z) > 0.5 {
		return fmt.Sprintf("the first mark is %.2f frames late, the last %.2f", a, z)
	}
	lag, zeros, repeats := int(math.Round(a)), 0, 0
	for i, v := range want {
		if zeros++; got[i+lag] != 0 || v == 0 {
			zeros = 0
		}
		// A client that misses its turn leaves the period before in the buffer.
		ago := i - jacktest.PeriodFrames
		if repeats++; ago < 0 || got[i+lag] != got[ago+lag] || v == want[ago] {
			repeats = 0
		}
		if zeros == 64 || repeats == 64 {
			return fmt.Sprintf("64 zeros or repeated samples up to frame %d, where the signal has none", i)
		}
	}
	return ""
}

// tries is how often is tried what a busy machine may spoil. One that spoils
// each second try spoils all in one test of a thousand.
const tries = 10

// takeWhole records, and records again, where a
// busy machine has demonstrably lost frames: that such a take is thrown away
// is capture.Check's business, not this package's.
func takeWhole(t *testing.T, sc *Soundcard, req capture.Request, want [][]float64) *capture.Take {
	t.Helper()
	for try := 1; ; try++ {
		take, err := sc.Record(context.Background(), req)
		if err != nil && !errors.Is(err, ErrStalled) {
			t.Fatal(err)
		}
		lost := ""
		if err != nil {
			lost, take = err.Error(), &capture.Take{}
		}
		for i, row := range take.Samples {
			if lost == "" && want[i] != nil {
				lost = missing(row, want[i], req.Signal)
			}
		}
		if lost == "" {
			return take
		}
		t.Logf("take %d lost frames (host flags %q): %s", try, take.HostFlags, lost)
		if try == tries {
			t.Fatalf("%d takes lost frames", try)
		}
	}
}
