package analysis

import (
	"math"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// silences are recordings of a silence with hum, of known truth; each has
// noise, phases and a mains frequency of its own.
func silences(t *testing.T, seed uint64, n int) []*Recording {
	t.Helper()
	sig := mustSignal(t, testsignals.New(testsignals.Silence, 48000, -20, 2))
	var recs []*Recording
	for i := range n {
		q := quietRecord{rateHz: 48000, lengthS: float64(sig.Frames)/48000 + 0.01, noiseStd: 1e-5, mainsHz: 50 + 0.02*float64(i),
			harmonicsRMS: rectifierHum(3e-5, 12), tones: []line{{freqHz: 3210, rms: 1e-5}}, seed: seed + uint64(i)}
		recs = append(recs, &Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A"}, Samples: [][]float64{q.make()},
			Bench: []BenchInput{{VoltsPerUnit: 1, VoltsBudget: Budget{typeB("a meter", 0.05)}}}})
	}
	return recs
}

func averageSilencesOf(t *testing.T, recs []*Recording) (Result, []Spoilt) {
	t.Helper()
	res, spoilt, err := AverageSilences(InMemory(recs))
	if err != nil || len(res.Refused) > 0 {
		t.Fatalf("averaging: %v, refused %v", err, res.Refused)
	}
	return res, spoilt
}

// White noise of density S has power S·19980 Hz from 20 Hz to 20 kHz, whose
// relative variance is 1/(B·T): closed form.
func TestSilencesAreAveraged(t *testing.T) {
	if testing.Short() {
		t.Skip("averages silences")
	}
	const n = 4
	recs := silences(t, 300, n)
	one, _ := averageSilencesOf(t, recs[:1])
	all, spoilt := averageSilencesOf(t, recs)
	if len(spoilt) > 0 {
		t.Fatal(spoilt)
	}
	a, b := readingAt(t, one, Hiss, "A"), readingAt(t, all, Hiss, "A")
	if ratio := a.Budget.typeAStd() / b.Budget.typeAStd() / math.Sqrt(n); math.Abs(ratio-1) > 0.05 {
		t.Errorf("hiss: type A fell to %.3f of √(1/%d)", 1/ratio, n)
	}
	if b.Budget.of("a meter").Std != 0.05 {
		t.Errorf("the meter's part became %g", b.Budget.of("a meter").Std)
	}
	truth := DBu(1e-5 * math.Sqrt(19980.0/24000))
	if off := math.Abs(b.Value - truth); off > 4*b.Budget.typeAStd() {
		t.Errorf("hiss %.4f dBu, want %.4f: %.1f standard uncertainties off", b.Value, truth, off/b.Budget.typeAStd())
	}
	if f := readingAt(t, all, MainsFrequency, "A"); math.Abs(f.Value-50.03) > 0.002 {
		t.Errorf("mains frequency %.4f Hz, want the mean of the takes', 50.03", f.Value)
	}
	harmonics := 0
	for _, r := range all.Readings {
		if r.Quantity != HumHarmonic || r.UpperBound {
			continue
		}
		harmonics++
		// The twelve phases differ from take to take: only amplitudes average.
		if truth := DBu(3e-5 / float64(r.Harmonic)); math.Abs(r.Value-truth) > 4*r.Budget.typeAStd()+0.001 {
			t.Errorf("harmonic %d: %.3f dBu, want %.3f", r.Harmonic, r.Value, truth)
		}
	}
	if harmonics < 12 {
		t.Errorf("%d harmonics were found, want 12", harmonics)
	}
	if tone := readingAt(t, all, OtherTone, "A"); math.Abs(tone.Value-DBu(1e-5)) > 0.05 {
		t.Errorf("tone at %.2f dBu, want %.2f", tone.Value, DBu(1e-5))
	}
}

// The same silence twice reads as it does once, in all but its uncertainty,
// which has the same sources.
func TestTheSameSilenceTwice(t *testing.T) {
	rec := silences(t, 340, 1)[0]
	loop := Transfer{FrequencyHz: Grid(rec.RateHz)}
	for range loop.FrequencyHz {
		loop.Re, loop.Im, loop.RelStd = append(loop.Re, 0.99), append(loop.Im, 0), append(loop.RelStd, 1e-5)
	}
	rec.Bench[0].Loopback = &loop
	rec.Bench[0].Floor = &Floor{Noise: map[string]Estimate{"A": {3e-6, 1e-8}}, Hiss: map[string]Estimate{"A": {3e-6, 1e-8}}}
	one, _ := averageSilencesOf(t, []*Recording{rec})
	two, _ := averageSilencesOf(t, []*Recording{rec, rec})
	if len(one.Readings) != len(two.Readings) || len(one.Curves) != len(two.Curves) {
		t.Fatalf("%d readings and %d curves became %d and %d", len(one.Readings), len(one.Curves), len(two.Readings), len(two.Curves))
	}
	for i, a := range one.Readings {
		b := two.Readings[i]
		if a.UpperBound {
			continue // the bounds of two are combined, not averaged
		}
		if math.Abs(a.Value-b.Value) > 1e-9 || len(a.Budget) != len(b.Budget) || a.Note != b.Note {
			t.Errorf("%s %s %d: %g of %d sources (%s) became %g of %d (%s)", a.Quantity, a.Weighting, a.Harmonic, a.Value, len(a.Budget), a.Note, b.Value, len(b.Budget), b.Note)
		}
	}
}

func TestBangInASilenceIsLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("averages silences")
	}
	recs := silences(t, 320, 3)
	clean, _ := averageSilencesOf(t, recs[1:])
	bang(recs[0], 1e-3)
	res, spoilt := averageSilencesOf(t, recs)
	if len(spoilt) != 1 || spoilt[0].Take != 0 || !strings.Contains(spoilt[0].Reason, "the hiss at output A is ") {
		t.Fatalf("left out %v, want take 0", spoilt)
	}
	if a, b := readingAt(t, clean, Noise, "A"), readingAt(t, res, Noise, "A"); a.Value != b.Value {
		t.Errorf("the spoilt silence still counts: %g, without it %g", b.Value, a.Value)
	}
	other := mustSignal(t, testsignals.New(testsignals.Silence, 48000, -20, 3))
	recs[1].Signal = other
	if _, _, err := AverageSilences(InMemory(recs)); err == nil {
		t.Error("silences of two lengths were averaged")
	}
}

// Powers weighed by length: (1²·2 + 3²·6)/8, and its variance.
func TestMeanPower(t *testing.T) {
	got := meanPower([]float64{0.25, 0.75}, func(i int) Estimate { return []Estimate{{1, 0.1}, {3, 0.2}}[i] })
	power, variance := 0.25*1+0.75*9, sq(0.25*2*1*0.1)+sq(0.75*2*3*0.2)
	if math.Abs(got.Value-math.Sqrt(power)) > 1e-12 || math.Abs(got.Std-math.Sqrt(variance)/2/math.Sqrt(power)) > 1e-12 {
		t.Errorf("mean %v, want %g ± %g", got, math.Sqrt(power), math.Sqrt(variance)/2/math.Sqrt(power))
	}
}
