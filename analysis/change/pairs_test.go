package change

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Rule 2 of the usual rules for control charts (from memory): nine in a row on
// one side, no fewer.
func TestNineOnOneSideAreOutOfControl(t *testing.T) {
	for run, want := range map[int]bool{8: false, 9: true} {
		// So many above, as many below, in turns of the least step before and after.
		values := []float64{-1, 1, -1, 1, -1}
		for range run {
			values = append(values, 1)
		}
		for range run {
			values = append(values, -1)
		}
		values = append(values, 1, -1, 1)
		c, ok := ControlChart(values, make([]string, len(values)))
		if !ok || c.Run != run || len(c.Beyond) > 0 || c.OutOfControl() != want {
			t.Errorf("%d on one side: %+v, out of control %v", run, c, c.OutOfControl())
		}
	}
}

// A contribution cancels where both runs have it in common, not where one has.
func TestBothMustHaveItInCommon(t *testing.T) {
	rectangular := analysis.Contribution{Source: sourceFloor, Kind: "B", Std: 0.3, Rectangular: true} // nobody knows its phase: never common
	plain := analysis.Contribution{Source: sourceFloor, Kind: "B", Std: 0.3}
	for _, pair := range [][2]analysis.Contribution{{rectangular, plain}, {plain, rectangular}} {
		if std := between(analysis.Budget{pair[0]}, analysis.Budget{pair[1]}, sameProfile).Std(); math.Abs(std-0.3*math.Sqrt2) > 1e-12 {
			t.Errorf("%+v: %g is left", pair, std)
		}
	}
	if std := between(analysis.Budget{plain}, analysis.Budget{plain}, sameProfile).Std(); std != 0 {
		t.Errorf("in common: %g is left", std)
	}
}

// What may be the same thing: a tone within 1 %, a whine within 2 %, a line of
// one harmonic.
func TestWhatIsPaired(t *testing.T) {
	at := func(quantity string, hz float64, harmonic int, value float64) verdict.Judged {
		return verdict.Judged{Reading: analysis.Reading{Quantity: quantity, Output: "A", FrequencyHz: hz, Harmonic: harmonic, Value: value}}
	}
	for _, c := range []struct {
		quantity string
		hz       float64
		want     int
	}{{analysis.Gain, 1009, 1}, {analysis.Gain, 1012, 0}, {analysis.OtherTone, 1019, 1}, {analysis.OtherTone, 1022, 0}} {
		pairs, _ := pair([]verdict.Judged{at(c.quantity, 1000, 0, 1)}, []verdict.Judged{at(c.quantity, c.hz, 0, 2)})
		if len(pairs) != c.want {
			t.Errorf("%s at 1000 and %g Hz: %d pairs, want %d", c.quantity, c.hz, len(pairs), c.want)
		}
	}
	before := []verdict.Judged{at(analysis.HumHarmonic, 150, 3, 3), at(analysis.HumHarmonic, 250, 5, 5)}
	after := []verdict.Judged{at(analysis.HumHarmonic, 250, 5, 5), at(analysis.HumHarmonic, 150, 3, 3), at(analysis.HumHarmonic, 350, 7, 7)}
	pairs, left := pair(before, after)
	if len(pairs) != 2 || len(left) != 1 || left[0].Harmonic != 7 {
		t.Fatalf("pairs %v, left %v", pairs, left)
	}
	for _, p := range pairs {
		if p[0].Value != p[1].Value {
			t.Errorf("harmonic %d was held against harmonic %d", p[0].Harmonic, p[1].Harmonic)
		}
	}
}

// A bench whose inputs moved alike moves no match.
func TestWhatAMovedBenchDoes(t *testing.T) {
	moved := map[string]float64{"A": 0.3, "B": 0.1}
	for quantity, want := range map[string]float64{analysis.Gain: 0.1, analysis.Level: 0.1, analysis.LevelMatch: -0.2, analysis.WorstLevelMatch: -0.2, analysis.Flatness: 0} {
		if got := shift(analysis.Reading{Quantity: quantity, Output: "B", Reference: "A"}, moved); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s is moved by %g, want %g", quantity, got, want)
		}
	}
}

// Drop-outs are counts: none and then three, of three a binomial with a half,
// is by chance in a quarter of cases, none and then eight in 1/128.
func TestDropOutsAreCounted(t *testing.T) {
	count := func(n float64) verdict.Judged {
		return verdict.Judged{Reading: analysis.Reading{Quantity: analysis.DropOuts, Output: "A", Value: n, K: 2}}
	}
	for n, want := range map[float64]float64{3: 0.25, 8: 1.0 / 128} {
		r := compareReadings(count(0), count(n), sameProfile, nil)
		if r.P == nil || math.Abs(*r.P-want) > 1e-12 {
			t.Errorf("none and %g: %+v, want p of %g", n, r.P, want)
		}
	}
}
