package analysis

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// Circuits in closed form. s is in units of the corner's angular frequency.
func notchOf(hz, q, depth float64) func(float64) complex128 {
	return func(f float64) complex128 {
		s := complex(0, f/hz)
		return (s*s + s*complex(depth/q, 0) + 1) / (s*s + s*complex(1/q, 0) + 1)
	}
}

func bandPassOf(hz, q float64) func(float64) complex128 {
	return func(f float64) complex128 {
		s := complex(0, f/hz)
		return s * complex(1/q, 0) / (s*s + s*complex(1/q, 0) + 1)
	}
}

func resonanceOf(hz, q, gain float64) func(float64) complex128 {
	return func(f float64) complex128 { return 1 + complex(gain, 0)*bandPassOf(hz, q)(f) }
}

func combOf(delayS, gain float64) func(float64) complex128 {
	return func(f float64) complex128 { return 1 + scale(gain, cis(-2*math.Pi*f*delayS)) }
}

func allPassOf(hz float64) func(float64) complex128 {
	return func(f float64) complex128 { return complex(1, -f/hz) / complex(1, f/hz) }
}

// furthestTruth walks the closed form in steps far finer than any notch here.
func furthestTruth(h func(float64) complex128, refDB, lowHz, highHz float64) float64 {
	worst, at := 0.0, lowHz
	for step := 1.0002; step > 1+1e-9; step = 1 + (step-1)/50 {
		for f := lowHz; ; f = math.Min(f*step, highHz) {
			if d := DB(cmplx.Abs(h(f))) - refDB; math.Abs(d) >= math.Abs(worst) {
				worst, at = d, f
			}
			if f >= highHz {
				break
			}
		}
		lowHz, highHz = math.Max(lowHz, at/step), math.Min(highHz, at*step)
	}
	return worst
}

// cornerTruth is the first frequency on the way out from 1 kHz where half the power
// is left, NaN where there is none inside the grid.
func cornerTruth(h func(float64) complex128, low bool) float64 {
	step := 1.0002
	if low {
		step = 1 / step
	}
	refDB := DB(cmplx.Abs(h(1000)))
	for f := 1000.0; f > 10.2 && f < 21900; f *= step {
		if DB(cmplx.Abs(h(f*step))) <= refDB-10*math.Log10(2) {
			return cornerOf(h, refDB, f*step, f)
		}
	}
	return math.NaN()
}

// holds checks a reading against its truth: three times the stated uncertainty is
// far beyond chance in so few readings.
func holds(t *testing.T, what string, r Reading, truth float64) {
	t.Helper()
	if r.LowerBound || r.UpperBound {
		if r.LowerBound && truth < r.Value || r.UpperBound && truth > r.Value {
			t.Errorf("%s: %s is bounded by %.6g (%s), is %.6g", what, r.Quantity, r.Value, r.Note, truth)
		}
		return
	}
	if !(math.Abs(r.Value-truth) <= 1.5*r.Uncertainty) {
		t.Errorf("%s: %s is %.7g ± %.2g, is %.7g", what, r.Quantity, r.Value, r.Uncertainty, truth)
	}
}

// Flatness, the worst match and the corners of circuits in closed form whose extremes
// and corners lie between the points of the curve's grid, at the band's edge, or
// ring longer than a short gate is open.
func TestExtremesAreReadWhereTheyAre(t *testing.T) {
	if testing.Short() {
		t.Skip("a sweep for each circuit")
	}
	base := chain(highPass(9), lowPass(30000))
	for what, h := range map[string]func(float64) complex128{
		"low-pass at 6 kHz":        lowPass(6000),
		"notch of Q 8":             chain(base, notchOf(1234, 8, 0.03)),
		"notch beside a corner":    chain(base, notchOf(1200, 10, 0.01)),
		"notch that rings":         chain(base, notchOf(700, 60, 0.01)),
		"resonance that rings":     chain(base, resonanceOf(307, 25, 2)),
		"resonance in the treble":  chain(base, resonanceOf(6789, 40, 1.5)),
		"comb":                     chain(base, combOf(0.0031, 0.7)),
		"hum notch":                chain(base, notchOf(50, 3, 0.1)),
		"band-pass, a parked wah":  chain(base, bandPassOf(700, 5)),
		"notch just not at −3 dB":  chain(base, notchOf(2000, 3, 0.75)),
		"notch just beyond −3 dB":  chain(base, notchOf(2000, 3, 0.70), lowPass(9000)),
		"ripple of two resonances": chain(base, resonanceOf(400, 4, -0.2), resonanceOf(3000, 3, 0.3)),
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-5, 5, base, h)
			res, err := SweepResult(rec, nil, DefaultBand)
			if err != nil || len(res.Refused) > 0 && !strings.Contains(res.Refused[0].Reason, "not defined") {
				t.Fatal(err, res.Refused)
			}
			read := map[string]Reading{}
			for _, r := range res.Readings {
				if r.Output == "B" {
					read[r.Quantity] = r
				}
			}
			holds(t, what, read[Flatness], math.Abs(furthestTruth(h, DB(cmplx.Abs(h(1000))), 40, 10000)))
			holds(t, what, read[WorstLevelMatch], furthestTruth(func(f float64) complex128 { return h(f) / base(f) }, 0, 40, 10000))
			for quantity, low := range map[string]bool{LowCorner: true, HighCorner: false} {
				if truth := cornerTruth(h, low); !math.IsNaN(truth) {
					holds(t, what, read[quantity], truth)
				} else if r := read[quantity]; !r.LowerBound && !r.UpperBound {
					t.Errorf("%s: a %s of %g ± %g Hz that is not there", what, quantity, r.Value, r.Uncertainty)
				}
			}
			if u := read[Flatness].Uncertainty; u > 0.1 {
				t.Errorf("%s: flatness only within %g dB", what, u)
			}
		})
	}
}

// Polarity is stated only where all its definitions agree. What each circuit is, is
// told by its closed form: of a band-pass and of an all-pass that turns the phase
// inside the band no sign is everywhere right.
func TestPolarityOnlyWhereItIsDefined(t *testing.T) {
	if testing.Short() {
		t.Skip("a sweep for each circuit")
	}
	base := chain(highPass(12), lowPass(18000))
	for what, c := range map[string]struct {
		h    func(float64) complex128
		want float64 // 0: not defined, 2: either that or +1
	}{
		"straight":                        {base, 1},
		"inverted, late":                  {chain(base, gainOf(-0.5), delayed(120e-6)), -1},
		"transformer":                     {chain(base, highPass(30), highPass(20)), 1},
		"dull":                            {chain(base, lowPass(2500)), 1},
		"mid scoop":                       {chain(base, notchOf(600, 0.7, 0.3)), 1},
		"third order high-pass":           {chain(base, highPass(60), highPass(60), highPass(60), gainOf(-1)), -1},
		"wah at 700 Hz":                   {chain(base, bandPassOf(700, 5)), 0},
		"wah at 1800 Hz":                  {chain(base, bandPassOf(1800, 5)), 0},
		"wah at 450 Hz":                   {chain(base, bandPassOf(450, 8)), 2},
		"all-pass at 500 Hz":              {chain(base, allPassOf(500)), 0},
		"all-pass at 3 kHz":               {chain(base, allPassOf(3000)), 0},
		"phaser of four stages":           {chain(base, allPassOf(800), allPassOf(800), allPassOf(800), allPassOf(800)), 0},
		"phaser of two stages":            {chain(base, allPassOf(300), allPassOf(900)), 0},
		"all-pass far above, only late":   {chain(base, allPassOf(60000)), 1},
		"wide band-pass, a mid-range amp": {chain(base, bandPassOf(1000, 0.4)), 2},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-5, 6, base, c.h)
			res, err := SweepResult(rec, nil, DefaultBand)
			if err != nil {
				t.Fatal(err)
			}
			for _, quantity := range []string{Polarity, PolarityMatch} {
				got := 0.0
				for _, r := range res.Readings {
					if r.Quantity == quantity && r.Output == "B" {
						got = r.Value
					}
				}
				reason := ""
				for _, r := range res.Refused {
					if r.Quantity == quantity && r.Output == "B" {
						reason = r.Reason
					}
				}
				if c.want == 2 && got != -1 {
					continue
				}
				if got != c.want || got == 0 && !strings.HasPrefix(reason, "not defined") {
					t.Errorf("%s is %g, want %g (%s)", quantity, got, c.want, reason)
				}
			}
		})
	}
}

// A delay between outputs that differ by a filter is stated so widely that the
// closed forms of three definitions lie inside: the group delay at 1 kHz, and the
// best slopes through 0 Hz with even weights and with weights of 1/f. A delay that
// is nothing else stays as sharp as noise leaves it.
func TestDelayCoversItsDefinitions(t *testing.T) {
	if testing.Short() {
		t.Skip("a sweep for each circuit")
	}
	base := chain(highPass(12), lowPass(18000))
	for what, h := range map[string]func(float64) complex128{
		"delay":      delayed(37e-6),
		"low-pass":   lowPass(5000),
		"high-pass":  highPass(60),
		"shelf":      func(f float64) complex128 { return complex(1, f/900) / complex(1, f/700) },
		"all-pass":   allPassOf(9000),
		"mild notch": notchOf(1500, 1, 0.5),
		"resonance":  resonanceOf(1000, 2, 0.4),
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-5, 7, base, chain(base, h))
			res, err := SweepResult(rec, nil, DefaultBand)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range res.Readings {
				if r.Quantity != DelayMatch {
					continue
				}
				for how, truth := range delaysOf(h) {
					if math.Abs(truth*1e6-r.Value) > r.Uncertainty*1.02 {
						t.Errorf("%.4f ± %.2g µs, by %s it is %.4f", r.Value, r.Uncertainty, how, truth*1e6)
					}
				}
				if what == "delay" && r.Uncertainty > 0.005 {
					t.Errorf("a mere delay is only known within %g µs", r.Uncertainty)
				}
			}
		})
	}
}

// delaysOf are delays in seconds of h in closed form.
func delaysOf(h func(float64) complex128) map[string]float64 {
	phase := func(f float64) float64 { return cmplx.Phase(h(f)) }
	var even, evenDen, byLog, byLogDen float64
	for f := 100.5; f < 10000; f++ {
		even, evenDen = even+f*phase(f), evenDen+f*f
		byLog, byLogDen = byLog+phase(f), byLogDen+f
	}
	return map[string]float64{
		"the group delay at 1 kHz":          -cmplx.Phase(h(1001)/h(999)) / (2 * math.Pi * 2),
		"the slope with even weights":       -even / evenDen / (2 * math.Pi),
		"the slope with weights of 1/f":     -byLog / byLogDen / (2 * math.Pi),
		"a phase of −2πf times it at 1 kHz": -phase(1000) / (2 * math.Pi * 1000),
	}
}
