package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// recorded is a take of two outputs with responses in closed form.
func recorded(t testing.TB, spec testsignals.Spec, noise float64, seed uint64, hs ...func(float64) complex128) *Recording {
	t.Helper()
	sig := mustSignal(t, spec)
	rec := &Recording{Signal: sig, RateHz: float64(spec.RateHz)}
	rng := rand.New(rand.NewPCG(seed, 1))
	for i, h := range hs {
		y := through(padded(sig, 300, 3000), rec.RateHz, h)
		addNoise(y, noise, rng)
		rec.Samples = append(rec.Samples, y)
		rec.Outputs = append(rec.Outputs, string(rune('A'+i)))
	}
	rec.OffsetFrames = 300
	return rec
}

// First-order sections in closed form: 10 kΩ into 1 nF has its corner at
// 1/(2πRC) = 15.915 kHz, −3.01 dB and −45° there (circuit theory; reference
// figures of the project).
func TestResponseOfKnownCircuit(t *testing.T) {
	fc := 1 / (2 * math.Pi * 10e3 * 1e-9)
	if math.Abs(fc-15915) > 1 {
		t.Fatalf("corner in closed form is %.1f Hz, want 15915", fc)
	}
	h := chain(lowPass(fc), highPass(6), gainOf(0.97), delayed(7.3e-6))
	for _, rate := range []int{44100, 48000, 96000} {
		rec := recorded(t, testsignals.New(testsignals.Sweep, rate, -12, 0), 1e-9, 1, h)
		played, err := NewPlayed(rec.Signal)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := played.Deconvolve(rec.Samples[0], 300)
		if err != nil {
			t.Fatal(err)
		}
		g := raw.Response(Grid(rec.RateHz))
		worstDB, worstDeg, at := 0.0, 0.0, 0.0
		for i, f := range g.FrequencyHz {
			z := g.H[i] / h(f)
			if d := math.Abs(DB(cmplx.Abs(z))); d > worstDB {
				worstDB, at = d, f
			}
			worstDeg = math.Max(worstDeg, math.Abs(cmplx.Phase(z))*180/math.Pi)
		}
		t.Logf("%d Hz: worst deviation %.5f dB at %.1f Hz, %.4f°", rate, worstDB, at, worstDeg)
		// A hundredth of the tenth of a decibel that a board is judged to.
		if worstDB > 0.001 || worstDeg > 0.01 {
			t.Errorf("%d Hz: off by %.5f dB at %.1f Hz, %.4f°", rate, worstDB, at, worstDeg)
		}
	}
}

func TestSweepResultReadings(t *testing.T) {
	a := chain(lowPass(15915.494), highPass(15), gainOf(0.97))
	b := chain(a, gainOf(-0.98), delayed(4e-6))
	rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 0), 1e-5, 2, a, b)
	res, err := SweepResult(rec, nil, DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	refDB := DB(cmplx.Abs(a(1000)))
	want := map[string]float64{
		"low_corner/A":  cornerOf(a, refDB, 5, 1000),
		"high_corner/A": cornerOf(a, refDB, 22000, 1000),
		"gain/A":        DB(cmplx.Abs(a(1000))), "level_match/B": DB(0.98), "delay_match/B": 4, "polarity_match/B": -1,
		"worst_level_match/B": DB(0.98), "polarity/A": 1, "polarity/B": -1,
	}
	for _, r := range res.Readings {
		t.Logf("%s %s: %.6g ± %.2g %s at %.4g Hz", r.Quantity, r.Output, r.Value, r.Uncertainty, r.Unit, r.FrequencyHz)
		w, ok := want[r.Quantity+"/"+r.Output]
		if !ok {
			continue
		}
		delete(want, r.Quantity+"/"+r.Output)
		if math.Abs(r.Value-w) > 2*r.Uncertainty+1e-9 {
			t.Errorf("%s %s is %g, want %g ± %g", r.Quantity, r.Output, r.Value, w, r.Uncertainty)
		}
	}
	for k := range want {
		t.Errorf("%s was not read", k)
	}
	for _, r := range res.Refused {
		t.Errorf("refused %s %s: %s", r.Quantity, r.Output, r.Reason)
	}
}

// cornerOf bisects the closed form for the half-power point between the
// stopped and the passed frequency.
func cornerOf(h func(float64) complex128, refDB, stopped, passed float64) float64 {
	for range 60 {
		mid := math.Sqrt(stopped * passed)
		if DB(cmplx.Abs(h(mid))) < refDB-10*math.Log10(2) {
			stopped = mid
		} else {
			passed = mid
		}
	}
	return passed
}
