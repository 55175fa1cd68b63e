package analysis

import (
	"math"
	"strings"
	"testing"

	"boardproof/testsignals"
)

func tones(t *testing.T, seed uint64, noise ...float64) []*Recording {
	t.Helper()
	recs := takesOf(t, testsignals.Tone, 1, seed, noise...)
	for _, rec := range recs {
		volts := BenchInput{VoltsPerUnit: 1, VoltsBudget: Budget{typeB("a meter", 0.05)}}
		rec.Bench = []BenchInput{volts, volts}
	}
	return recs
}

func averageTonesOf(t *testing.T, recs []*Recording) (Result, []Spoilt) {
	t.Helper()
	res, spoilt, err := AverageTones(InMemory(recs))
	if err != nil || len(res.Refused) > 0 {
		t.Fatalf("averaging: %v, refused %v", err, res.Refused)
	}
	return res, spoilt
}

func TestToneVarianceFallsWithTakes(t *testing.T) {
	recs := tones(t, 200, 1e-4, 1e-4, 1e-4, 1e-4)
	one, _ := averageTonesOf(t, recs[:1])
	all, spoilt := averageTonesOf(t, recs)
	if len(spoilt) > 0 {
		t.Fatal(spoilt)
	}
	for _, q := range []string{Level, Gain, LevelMatch} {
		a, b := readingAt(t, one, q, "B"), readingAt(t, all, q, "B")
		if ratio := a.Budget.typeAStd() / b.Budget.typeAStd() / 2; math.Abs(ratio-1) > 0.2 {
			t.Errorf("%s: type A fell to %.3f of a half", q, 1/ratio)
		}
		if q == Level && math.Abs(b.Budget.of("a meter").Std-0.05) > 1e-12 {
			t.Errorf("the meter's part went from 0.05 to %g", b.Budget.of("a meter").Std)
		}
		if b.Uncertainty != b.Budget.Expanded() {
			t.Errorf("%s: uncertainty %g is not that of its budget, %g", q, b.Uncertainty, b.Budget.Expanded())
		}
	}
}

// The mean of readings of 1 ± 0.1 and 2 ± 0.2 by inverse variance is 1.2 with
// 0.2/√5; their distance is 4.5 standard uncertainties, which happens to noise
// once in 130,000 times, so their own scatter counts.
func TestMeanReading(t *testing.T) {
	at := func(v, std float64) Reading {
		return reading(Gain, "A", v, Budget{typeA(sourceNoise, std), typeB("lead", 0.3)})
	}
	got := meanReading([]Reading{at(1, 0.1), at(1.3, 0.2)})
	if math.Abs(got.Value-1.06) > 1e-12 || math.Abs(got.Budget[0].Std-0.2/math.Sqrt(5)) > 1e-12 || math.Abs(got.Budget[1].Std-0.3) > 1e-12 {
		t.Errorf("mean %g, budget %v; want 1.06, type A %g", got.Value, got.Budget, 0.2/math.Sqrt(5))
	}
	got = meanReading([]Reading{at(1, 0.1), at(2, 0.2)})
	chi := 1 / math.Hypot(0.1, 0.2)
	if want := chi * 0.2 / math.Sqrt(5); math.Abs(got.Value-1.2) > 1e-12 || math.Abs(got.Budget[0].Std-want) > 1e-12 {
		t.Errorf("takes that disagree: mean %g, budget %v; want 1.2, type A %g", got.Value, got.Budget, want)
	}
	bound := Reading{Quantity: THD, Output: "A", Value: 0.5, UpperBound: true}
	higher := bound
	higher.Value = 0.7
	if got := meanReading([]Reading{{Quantity: THD, Value: 0.9}, bound, higher}); !got.UpperBound || got.Value != 0.7 {
		t.Errorf("with bounds among them: %+v, want the bound 0.7", got)
	}
}

func TestSpoiltTonesAreLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("averages tones")
	}
	recs := tones(t, 210, 1e-5, 1e-5, 1e-5, 1e-5)
	clean, _ := averageTonesOf(t, recs[:3])
	bang(recs[3], 0.02)
	res, spoilt := averageTonesOf(t, recs)
	if len(spoilt) != 1 || spoilt[0].Take != 3 || !strings.Contains(spoilt[0].Reason, "as after a bang") {
		t.Fatalf("left out %v, want take 3", spoilt)
	}
	if a, b := readingAt(t, clean, THDN, "A"), readingAt(t, res, THDN, "A"); a.Value != b.Value {
		t.Errorf("the spoilt take still counts: THD+N %g, without it %g", b.Value, a.Value)
	}
	recs[3] = recorded(t, testsignals.New(testsignals.Tone, 48000, -20, 1), 1e-5, 219, chain(lowPass(12000), highPass(8), gainOf(0.83)), chain(lowPass(11000), gainOf(0.8)))
	recs[3].Bench = recs[0].Bench
	if _, spoilt = averageTonesOf(t, recs); len(spoilt) != 1 || spoilt[0].Take != 3 || !strings.Contains(spoilt[0].Reason, "gain at output A is 0.3") {
		t.Errorf("left out %v, want take 3, 0.32 dB off", spoilt)
	}
	for i := range recs[3].Samples[0] {
		recs[3].Samples[0][i] = 0
	}
	if _, spoilt = averageTonesOf(t, recs); len(spoilt) != 1 || spoilt[0].Take != 3 || !strings.Contains(spoilt[0].Reason, "no signal") {
		t.Errorf("left out %v, want take 3 without a signal", spoilt)
	}
}
