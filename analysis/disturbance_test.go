package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// swept is a take of one output through h, then through change.
func swept(t *testing.T, noise float64, h func(float64) complex128, change func(rec *Recording, x []float64)) Result {
	t.Helper()
	rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 0), noise, 21, h)
	if change != nil {
		change(rec, rec.Samples[0])
	}
	res, err := SweepResult(rec, nil, DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// bodyAt is the frame of the recording at seconds of the sweep.
func bodyAt(rec *Recording, seconds float64) int {
	return rec.Signal.Body.Start + int(rec.OffsetFrames) + int(seconds*rec.RateHz)
}

func TestWhatHappensInTheSweepIsNotGivenAsResponse(t *testing.T) {
	if testing.Short() {
		t.Skip("four sweeps")
	}
	board := chain(highPass(29.5), lowPass(18000))
	for name, c := range map[string]struct {
		words  string
		change func(rec *Recording, x []float64)
	}{
		"3 ms repeated": {"something happened 1.", func(rec *Recording, x []float64) {
			at := bodyAt(rec, 1.3)
			copy(x[at:at+144], x[at-144:at])
		}},
		"3 ms gone": {"something happened 3.", func(rec *Recording, x []float64) {
			clear(x[bodyAt(rec, 3.3):][:144])
		}},
		// While a window holds the jump its pilots are weaker too.
		"64 frames lost, 64 added later": {"lost samples", func(rec *Recording, x []float64) {
			a, b := bodyAt(rec, 2), bodyAt(rec, 3)
			copy(x[a:b], x[a+64:b+64])
		}},
		"echo": {"the board answers again after 0.3", func(_ *Recording, x []float64) {
			const late = 14400
			for i := len(x) - 1; i >= late; i-- {
				x[i] += 0.5 * x[i-late]
			}
		}},
	} {
		res := swept(t, 1e-6, board, c.change)
		found := false
		for _, r := range res.Refused {
			found = found || r.Quantity == Response && strings.Contains(r.Reason, c.words)
		}
		if !found || len(res.Readings) > 0 {
			t.Errorf("%s: read %d, refused %v; want %q", name, len(res.Readings), res.Refused, c.words)
		}
	}
}

// A resonance of 12 dB in the bass that alone reaches the board's rails.
func TestPartialClippingIsNotGivenAsResponse(t *testing.T) {
	peak := func(f float64) complex128 {
		const f0, q, g = 100.0, 2.0, 4.0
		s := complex(0, f/f0)
		return (1 + s*complex(g/q, 0) + s*s) / (1 + s*complex(1/q, 0) + s*s)
	}
	if b := DB(cmplx.Abs(peak(100))); math.Abs(b-12.04) > 0.1 {
		t.Fatalf("the peak is %.2f dB", b)
	}
	res := swept(t, 1e-6, peak, func(_ *Recording, x []float64) {
		for i, v := range x {
			x[i] = math.Max(-0.6, math.Min(0.6, v))
		}
	})
	for _, r := range res.Refused {
		if r.Quantity == Response && strings.Contains(r.Reason, "a peak that clips") {
			return
		}
	}
	t.Errorf("a board that clips at its peak was read: refused %v", res.Refused)
}

// What is small widens the uncertainty so that it holds the truth.
func TestSmallClickWidensTheUncertainty(t *testing.T) {
	res := swept(t, 1e-7, gainOf(1), func(rec *Recording, x []float64) {
		x[bodyAt(rec, 2.5)] += 0.01
	})
	if len(res.Refused) > 0 {
		t.Fatalf("refused: %v", res.Refused)
	}
	for _, c := range res.Curves {
		if c.Quantity != Response {
			continue
		}
		out, wide := 0, 0.0
		for i := range c.Value {
			wide = math.Max(wide, c.Uncertainty[i])
			if math.Abs(c.Value[i]) > 1.5*c.Uncertainty[i] {
				out++
			}
		}
		if out > 3 || wide < 1e-3 {
			t.Errorf("%d points are off by more than 1.5 U, the widest U is %.2g dB", out, wide)
		}
	}
}

// Nothing is found in clean records: noisy, resonant, or smoothly bending.
func TestCleanSweepsAreNotDisturbed(t *testing.T) {
	if testing.Short() {
		t.Skip("sixteen sweeps")
	}
	resonance := func(f float64) complex128 {
		const f0, q = 300.0, 20.0
		s := complex(0, f/f0)
		return (1 + s*complex(2/q, 0) + s*s) / (1 + s*complex(1/q, 0) + s*s)
	}
	for _, noise := range []float64{1e-8, 1e-6, 1e-4, 1e-3} {
		for name, h := range map[string]func(float64) complex128{
			"flat": gainOf(1), "dull": chain(lowPass(2000), highPass(30)), "resonant": resonance, "inverted": gainOf(-0.2),
		} {
			res := swept(t, noise, h, func(_ *Recording, x []float64) {
				// Bent after the low-pass only: at full band the harmonics
				// would fold back, which no analogue board does.
				for i, v := range x {
					if name == "dull" {
						x[i] = v + 0.02*v*v - 0.02*v*v*v
					}
				}
			})
			for _, r := range res.Refused {
				t.Errorf("%s with noise of %g: %s refused: %s", name, noise, r.Quantity, r.Reason)
			}
		}
	}
}

// Powers of Gaussian noise are exponentially distributed (closed form): as often as
// chanceOfMoment says a chance, moments of them are so unlikely.
func TestChanceOfMomentIsItsFrequency(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, frequencies := range []int{1, 2, 5, 20} {
		const trials, looks, said = 20000, 40, 0.01
		seen := 0
		for range trials {
			powers := make([]float64, frequencies)
			for f := range powers {
				yardstick := make([]float64, looks)
				for i := range yardstick {
					yardstick[i] = rng.ExpFloat64()
				}
				powers[f] = rng.ExpFloat64() / (medianOf(yardstick) / math.Ln2)
			}
			if chanceOfMoment(powers, looks) < said {
				seen++
			}
		}
		// Three standard deviations of a count, and a quarter for the gamma variate.
		want := trials * said
		if most := 1.25*want + 3*math.Sqrt(want); float64(seen) > most || float64(seen) < want/2 {
			t.Errorf("%d frequencies: %d of %d moments are said to have a chance of %g", frequencies, seen, trials, said)
		}
	}
}
