package main

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/capture/wavfile"
)

// onePole is a board's output in the test's own code: gain·(1-p)/(1-p·z⁻¹), late by
// a number of frames. With a pole under 0 it is early by a part of a frame.
type onePole struct {
	gain, pole float64
	late       int
}

func (o onePole) filter(x []float64) []float64 {
	y, state := make([]float64, len(x)), 0.0
	for i := range x {
		state *= o.pole
		if i >= o.late {
			state += (1 - o.pole) * o.gain * x[i-o.late]
		}
		y[i] = state
	}
	return y
}

// at is the closed form of filter's response.
func (o onePole) at(freqHz, rateHz float64) complex128 {
	w := 2 * math.Pi * freqHz / rateHz
	return complex(o.gain*(1-o.pole), 0) * cmplx.Rect(1, -w*float64(o.late)) / (1 - complex(o.pole, 0)*cmplx.Rect(1, -w))
}

// boardA and boardB are the two outputs of most tests: corners near 8 and
// 10 kHz, B 0.4 dB down and two frames late.
var (
	boardA = onePole{gain: 0.9, pole: 0.3}
	boardB = onePole{gain: 0.86, pole: 0.25, late: 2}
)

// rolled is x with so many frames of silence before and after, and the
// recorder's noise over all of it.
func rolled(x []float64, before, after int, noise float64, seed uint64) []float64 {
	y := make([]float64, before+len(x)+after)
	copy(y[before:], x)
	draw := rand.New(rand.NewPCG(seed, 48))
	for i := range y {
		y[i] += noise * draw.NormFloat64()
	}
	return y
}

func each(x []float64, f func(float64) float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = f(v)
	}
	return y
}

// atOtherClock is x as a recorder heard it whose clock is fast by ppm: frame n
// is x at n/(1+ppm/10⁶), by a sinc under a four-term Blackman-Harris window
// (Harris, Proc. IEEE 66(1), 1978; its terms from memory), good to -90 dB up to 0.45 of the rate.
func atOtherClock(x []float64, ppm float64) []float64 {
	const half, fine = 80, 1024
	table := make([]float64, 2*half*fine+2)
	for i := range table {
		d := float64(i)/fine - half
		w := math.Pi * (d/half + 1)
		table[i] = 0.35875 - 0.48829*math.Cos(w) + 0.14128*math.Cos(2*w) - 0.01168*math.Cos(3*w)
		if i != half*fine {
			table[i] *= math.Sin(math.Pi*d) / (math.Pi * d)
		}
	}
	y := make([]float64, int(float64(len(x))*(1+ppm*1e-6)))
	for n := range y {
		at := float64(n) / (1 + ppm*1e-6)
		base := int(at)
		for k := max(base-half+1, 0); k < min(base+half, len(x)); k++ {
			place := (float64(k) - at + half) * fine
			i := int(place)
			y[n] += x[k] * (table[i] + (place-float64(i))*(table[i+1]-table[i]))
		}
	}
	return y
}

// Recordings that are unlike the plain case and must be read all the same,
// against the closed form of what the test did to the samples.
func TestHardRecordingsAreReadRight(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a dozen recordings")
	}
	played, x := exported(t, "sweep", "--duration", "2")
	a, b := boardA.filter(x), boardB.filter(x)
	early := onePole{gain: 0.9, pole: -0.3}
	times := func(y []float64, g float64) []float64 { return each(y, func(v float64) float64 { return g * v }) }
	const quiet = 1e-6
	cases := map[string]struct {
		channels [][]float64
		boards   [2]onePole
		encoding wavfile.Encoding
		gain     float64 // over the boards'
		ppm      float64
		withinDB float64
	}{
		"longer on both sides":         {[][]float64{rolled(a, 96000, 120000, quiet, 1), rolled(b, 96000, 120000, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.Float32, 1, 0, 0.001},
		"as long as the played, late":  {[][]float64{rolled(a, 0, 0, quiet, 1), rolled(b, 0, 0, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.Float32, 1, 0, 0.001},
		"as long as the played, early": {[][]float64{rolled(early.filter(x), 0, 0, quiet, 1), rolled(b, 0, 0, quiet, 2)}, [2]onePole{early, boardB}, wavfile.Float32, 1, 0, 0.001},
		"clock off": {[][]float64{rolled(atOtherClock(rolled(a, 9000, 9000, 0, 0), 87), 0, 0, quiet, 1), rolled(atOtherClock(rolled(b, 9000, 9000, 0, 0), 87), 0, 0, quiet, 2)},
			[2]onePole{boardA, boardB}, wavfile.Float32, 1, 87, 0.003},
		"16 bit":         {[][]float64{rolled(a, 9000, 9000, 3e-5, 1), rolled(b, 9000, 9000, 3e-5, 2)}, [2]onePole{boardA, boardB}, wavfile.PCM16, 1, 0, 0.01},
		"24 bit":         {[][]float64{rolled(a, 9000, 9000, quiet, 1), rolled(b, 9000, 9000, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.PCM24, 1, 0, 0.001},
		"inverted":       {[][]float64{rolled(times(a, -1), 9000, 9000, quiet, 1), rolled(times(b, -1), 9000, 9000, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.Float32, -1, 0, 0.001},
		"50 dB down":     {[][]float64{rolled(times(a, 0.00316228), 9000, 9000, quiet, 1), rolled(times(b, 0.00316228), 9000, 9000, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.Float32, 0.00316228, 0, 0.05},
		"with an offset": {[][]float64{each(rolled(a, 9000, 9000, quiet, 1), func(v float64) float64 { return v + 0.01 }), rolled(b, 9000, 9000, quiet, 2)}, [2]onePole{boardA, boardB}, wavfile.Float32, 1, 0, 0.002},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			recorded := writeWAV(t, 48000, c.encoding, c.channels...)
			doc := measured(t, "measure", "response", "--played", played, "--recorded", recorded, "--outputs", "A=1,B=2")
			for i, out := range []string{"A", "B"} {
				againstClosedForm(t, doc, out, c.boards[i], c.gain, c.withinDB)
			}
			if r := doc.reading(t, analysis.ClockError, ""); math.Abs(r.Value-c.ppm) > 0.02+1.5*r.Uncertainty || r.Uncertainty > 0.2 {
				t.Errorf("clock error %g ± %g ppm, true %g", r.Value, r.Uncertainty, c.ppm)
			}
			split := measured(t, "measure", "split", "--played", played, "--recorded", recorded, "--outputs", "A=1,B=2")
			want := dBOf(cmplx.Abs(c.boards[1].at(1000, 48000) / c.boards[0].at(1000, 48000)))
			if r := split.reading(t, analysis.LevelMatch, "B"); math.Abs(r.Value-want) > 0.0005+1.5*r.Uncertainty {
				t.Errorf("level match %g ± %g dB, true %g dB", r.Value, r.Uncertainty, want)
			}
			if r := split.reading(t, analysis.PolarityMatch, "B"); r.Value != 1 {
				t.Errorf("polarity match %g of outputs that agree", r.Value)
			}
		})
	}
}

// againstClosedForm compares level, gain and polarity of one output.
func againstClosedForm(t *testing.T, doc printed, output string, board onePole, gain, withinDB float64) {
	t.Helper()
	c := doc.curve(t, analysis.Response, output)
	worst, at, beyond := 0.0, 0.0, 0
	points := 0
	for i, f := range c.FrequencyHz {
		if f < 20 || f > 20000 {
			continue
		}
		points++
		d := math.Abs(c.Value[i] - dBOf(math.Abs(gain)*cmplx.Abs(board.at(f, 48000))))
		if d > worst {
			worst, at = d, f
		}
		if d > 0.0005+c.Uncertainty[i] {
			beyond++
		}
	}
	t.Logf("%s: worst deviation %.5f dB at %.0f Hz, beyond its uncertainty at %d of %d", output, worst, at, beyond, points)
	// Stated at 95 %; neighbours go together, so a tenth may be beyond.
	if points < 230 || worst > withinDB || beyond > points/10 {
		t.Errorf("%s: off by %.5f dB at %.0f Hz, beyond its uncertainty at %d of %d points", output, worst, at, beyond, points)
	}
	r := doc.reading(t, analysis.Gain, output)
	if want := dBOf(math.Abs(gain) * cmplx.Abs(board.at(1000, 48000))); math.Abs(r.Value-want) > 0.0005+1.5*r.Uncertainty {
		t.Errorf("gain of %s %g ± %g dB, true %g dB", output, r.Value, r.Uncertainty, want)
	}
	if r := doc.reading(t, analysis.Polarity, output); r.Value != math.Copysign(1, gain) {
		t.Errorf("polarity of %s is %g", output, r.Value)
	}
}

// Nothing in a recording says when its signal was sent: a delay through a
// plain wire comes out as anything, and has to say so.
func TestADelayInARecordingIsQualified(t *testing.T) {
	played, x := exported(t, "sweep", "--duration", "2")
	recorded := writeWAV(t, 48000, wavfile.Float32, rolled(x, 9000, 9000, 1e-6, 1))
	doc := measured(t, "measure", "response", "--played", played, "--recorded", recorded, "--outputs", "A=1")
	if r := doc.reading(t, analysis.Delay, "A"); !strings.Contains(r.Note, "not the board's own") {
		t.Errorf("delay %g µs through a wire, with the note %q", r.Value, r.Note)
	}
}

// A recording of impulses beside the sweep's is a second opinion: it agrees
// with a board that is linear and tells one that is not.
func TestImpulsesBesideARecordedSweep(t *testing.T) {
	sweep, s := exported(t, "sweep")
	impulses, p := exported(t, "impulses")
	through := func(x []float64, gain float64) []float64 {
		y := make([]float64, len(x)+4800)
		for i, v := range x {
			y[i+2400] = gain * v
		}
		return y
	}
	recorded := writeWAV(t, 48000, wavfile.Float32, through(s, 0.5))
	for _, c := range []struct {
		gain float64
		code int
	}{{0.5, exitPassed}, {0.53, exitUnmeasured}} {
		other := writeWAV(t, 48000, wavfile.Float32, through(p, c.gain))
		out, errs, code := runProgram(t, "measure", "response", "--played", sweep, "--recorded", recorded,
			"--impulses", other, "--impulses-played", impulses, "--outputs", "A=1")
		if code != c.code || (c.code != exitPassed) != strings.Contains(out, "the impulses' gain differs") {
			t.Errorf("impulses at a gain of %g: exit %d\n%s%s", c.gain, code, out, errs)
		}
	}
}
