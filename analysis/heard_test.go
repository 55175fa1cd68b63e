package analysis

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/testsignals"
)

// A steep low-pass of SciPy's falls far under SciPy's noise: there the truth is under
// what is said, and no figure is off by more than it says.
func TestOutsideUnderTheNoiseOnlyABoundIsGiven(t *testing.T) {
	for seed, noise := range []string{"white", "pink"} {
		c := changed{noise: noise, noiseBelowDB: 45, lowPass: 5000, order: 10, seed: seed}
		res, truth := sweptBySciPy(t, testsignals.New(testsignals.Sweep, 48000, -12, 0), c)
		worst, curve := curveHeld(t, res, truth)
		widest, under := 0.0, 0
		for i, f := range curve.FrequencyHz {
			switch {
			case at(curve.UpperBound, i):
				if under++; curve.Uncertainty[i] != 0 || curve.PhaseUncertaintyDeg[i] != 180 {
					t.Errorf("%s: the bound at %.0f Hz has ±%.2f dB, ±%.0f°", noise, f, curve.Uncertainty[i], curve.PhaseUncertaintyDeg[i])
				}
			case truth[i] < -80:
				t.Errorf("%s: at %.0f Hz, %.0f dB down, a figure: %.1f ± %.1f dB", noise, f, truth[i], curve.Value[i], curve.Uncertainty[i])
			case f < 4000 && f > 20:
				widest = math.Max(widest, curve.Uncertainty[i])
			}
		}
		t.Logf("%s: %d of %d points are bounds, worst figure %.2f U, note %q", noise, under, len(truth), worst, curve.Note)
		if widest > 0.2 {
			t.Errorf("%s: in the pass band ±%.2f dB", noise, widest)
		}
		for _, r := range res.Readings {
			switch deepest := -truth[NearestIndex(curve.FrequencyHz, 10000)]; {
			case r.Quantity == Flatness && (!r.LowerBound || r.Value > deepest || r.Value < 20):
				t.Errorf("%s: flatness %.2f dB, lower bound %v; truth about %.2f", noise, r.Value, r.LowerBound, deepest)
			case r.Quantity == HighCorner && (r.LowerBound || math.Abs(r.Value-5000) > 1.5*r.Uncertainty+1):
				t.Errorf("%s: corner %.2f ± %.2f Hz, bound %v", noise, r.Value, r.Uncertainty, r.LowerBound)
			}
		}
	}
}

// One output under the noise bounds a difference on one side, both leave nothing to say:
// closed-form low-passes of 18 dB an octave, in noise.
func TestADifferenceFromWhatIsUnderTheNoiseIsABound(t *testing.T) {
	steep := chain(lowPass(500), lowPass(500), lowPass(500), gainOf(1.1))
	wide := chain(lowPass(500), gainOf(0.9))
	sig := testsignals.New(testsignals.Sweep, 48000, -12, 0)
	for name, c := range map[string]struct {
		boards       []func(float64) complex128
		upper, lower bool
	}{
		"the output":    {[]func(float64) complex128{wide, steep}, true, false},
		"the reference": {[]func(float64) complex128{steep, wide}, false, true},
		"both":          {[]func(float64) complex128{steep, steep}, false, false},
	} {
		rec := recorded(t, sig, 3e-3, 3, c.boards...)
		res, err := SweepResult(rec, nil, DefaultBand)
		if err != nil {
			t.Fatal(err)
		}
		for _, curve := range res.Curves {
			if curve.Quantity != SplitDifference {
				continue
			}
			last := len(curve.Value) - 1
			top, bound := curve.FrequencyHz[last], c.upper || c.lower
			if (top > 20000) != bound || bound && (at(curve.UpperBound, last) != c.upper || at(curve.LowerBound, last) != c.lower) {
				t.Errorf("%s under the noise: the last point is at %.0f Hz, at most %v, at least %v; note %q", name, top, at(curve.UpperBound, last), at(curve.LowerBound, last), curve.Note)
			}
			broken := 0
			for i, f := range curve.FrequencyHz {
				truth := DB(cmplx.Abs(c.boards[1](f) / c.boards[0](f)))
				if at(curve.UpperBound, i) && truth > curve.Value[i] || at(curve.LowerBound, i) && truth < curve.Value[i] {
					broken++
				}
			}
			if broken > 6 {
				t.Errorf("%s: %d bounds do not hold", name, broken)
			}
		}
		found := false
		for _, r := range res.Readings {
			if r.Quantity == WorstLevelMatch {
				truth := DB(cmplx.Abs(c.boards[1](10000) / c.boards[0](10000)))
				if found = true; r.UpperBound != c.upper || r.LowerBound != c.lower || math.Abs(r.Value) > math.Abs(truth) {
					t.Errorf("%s: %.2f dB, at most %v, at least %v; truth %.2f", name, r.Value, r.UpperBound, r.LowerBound, truth)
				}
			}
		}
		if found == (name == "both") {
			t.Errorf("%s: worst level match read %v, refused %v", name, found, res.Refused)
		}
	}
}
