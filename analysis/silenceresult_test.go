package analysis

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func silentResult(t *testing.T, x []float64, rateHz float64) Result {
	t.Helper()
	s, err := AnalyseSilence(x, rateHz, SilenceOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return SilenceResult(s, "A", "all bypassed", BenchInput{})
}

func TestWhatCannotBeReadIsRefused(t *testing.T) {
	constant := make([]float64, 48000)
	for i := range constant {
		constant[i] = 0.25
	}
	short := quietRecord{rateHz: 48000, lengthS: 0.4, noiseStd: 1, seed: 1}.make()
	for reason, x := range map[string][]float64{"one value": constant, "less than 0.5 s": short} {
		r := silentResult(t, x, 48000)
		if len(r.Readings) != 0 || len(r.Curves) != 0 || len(r.Refused) < 6 {
			t.Fatalf("%s: %d readings, %d refused", reason, len(r.Readings), len(r.Refused))
		}
		for _, ref := range r.Refused {
			if !strings.Contains(ref.Reason, reason) || ref.Output != "A" || ref.State != "all bypassed" {
				t.Errorf("%+v does not say %q", ref, reason)
			}
		}
	}
	r := silentResult(t, quietRecord{rateHz: 8000, lengthS: 2, noiseStd: 1, seed: 1}.make(), 8000)
	refused := map[string]bool{}
	for _, ref := range r.Refused {
		refused[ref.Quantity] = true
	}
	if !refused[MainsFrequency] || len(refused) != 1 {
		t.Errorf("no mains in the record, refused: %v", r.Refused)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1)} {
		x := append([]float64(nil), constant...)
		x[9] = bad
		if _, err := AnalyseSilence(x, 48000, SilenceOptions{}); err == nil || !strings.Contains(err.Error(), "sample 9") {
			t.Errorf("a sample of %g: %v", bad, err)
		}
	}
	for _, rate := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := AnalyseSilence(constant, rate, SilenceOptions{}); err == nil {
			t.Errorf("a rate of %g Hz: no error", rate)
		}
	}
	if _, err := AnalyseSilence(nil, 48000, SilenceOptions{}); err == nil {
		t.Error("an empty record: no error")
	}
}

// A record without hum bounds it: at 50 and at 60 Hz, or at that which is named. Of the
// noise beside, 1 V in 4 kHz over 4 s, a line of 40 standard uncertainties would show.
func TestARecordWithoutHumBoundsIt(t *testing.T) {
	x := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1, seed: 1}.make()
	for nominal, at := range map[float64]string{0: "at 50 Hz and at 60 Hz", 50: "at 50 Hz", 60: "at 60 Hz"} {
		rec := &Recording{Outputs: []string{"A"}, Samples: [][]float64{x}, RateHz: 8000, NominalMainsHz: nominal, Bench: []BenchInput{{VoltsPerUnit: 1}}}
		res, err := SilenceOf(rec)
		if err != nil {
			t.Fatal(err)
		}
		bounds := 0
		for _, r := range res.Readings {
			if r.Quantity != Hum && r.Quantity != HumHarmonic {
				continue
			}
			bounds++
			// A line's standard uncertainty is √(2/8000/(2·4)) V, −45 dBu; forty of them, each the largest within ±1 %, at 95 %.
			if !r.UpperBound || math.IsInf(r.Value, 0) || r.Value < -45 || r.Value > -45+40 {
				t.Errorf("mains %g: %s %d is %g dBu, a bound: %v", nominal, r.Quantity, r.Harmonic, r.Value, r.UpperBound)
			}
			if r.Quantity == Hum && !strings.HasSuffix(r.Note, at) {
				t.Errorf("mains %g: note %q", nominal, r.Note)
			}
		}
		if bounds != 41 {
			t.Errorf("mains %g: %d bounds", nominal, bounds)
		}
	}
}

func TestSilenceReadingsCarryScaleAndNoise(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 2, noiseStd: 1e-5, mainsHz: 50, harmonicsRMS: []float64{1e-4, 0, 3e-5},
		tones: []line{{freqHz: 12345.6, rms: 1e-5}}, seed: 3}
	s := analyse(t, q, SilenceOptions{ClockStdPPM: 100})
	r := SilenceResult(s, "B", "", BenchInput{VoltsBudget: Budget{typeB("scale", DBFromRelative(0.01))}})
	count := map[string]int{}
	for _, x := range r.Readings {
		count[x.Quantity]++
		if x.Output != "B" || x.K != 2 || math.IsNaN(x.Value) {
			t.Errorf("%+v", x)
		}
		// 1 % of scale is 0.174 dB at k = 2, and nothing is surer than that.
		if x.Unit == "dBu" && x.Uncertainty < 0.1737 {
			t.Errorf("%s is given to %g dB with a scale of 1 %%", x.Quantity, x.Uncertainty)
		}
	}
	want := map[string]int{Noise: 3, Hiss: 3, MainsFrequency: 1, Hum: 1, HumHarmonic: 40, OtherTone: 1}
	for k, n := range want {
		if count[k] != n {
			t.Errorf("%d readings of %s, want %d", count[k], k, n)
		}
	}
	for _, x := range r.Readings {
		switch {
		case x.Quantity == Hum && math.Abs(x.Value-DBu(math.Hypot(1e-4, 3e-5))) > 0.05:
			t.Errorf("hum %g dBu", x.Value)
		// A rectangular clock error: 95.45 % of √3 times its standard uncertainty.
		case x.Quantity == MainsFrequency && x.Uncertainty < 0.9544*math.Sqrt(3)*100e-6*50:
			t.Errorf("mains frequency is given to %g Hz by a clock of 100 ppm", x.Uncertainty)
		case x.Quantity == HumHarmonic && x.UpperBound != (x.Harmonic != 1 && x.Harmonic != 3):
			t.Errorf("harmonic %d: %+v", x.Harmonic, x)
		}
	}
	if len(r.Curves) != 2 || len(r.Curves[0].Value) < 500 || len(r.Curves[0].Value) > 2000 || len(r.Curves[1].Value) != 30 {
		t.Fatalf("%d curves", len(r.Curves))
	}
	// The tone stays visible in the thinned density: its level in one bin, less
	// at most the window's scalloping of 1.42 dB (Harris 1978).
	peak := math.Inf(-1)
	for i, f := range r.Curves[0].FrequencyHz {
		if math.Abs(f-12345.6) < 5 {
			peak = math.Max(peak, r.Curves[0].Value[i])
		}
	}
	if d := peak - (DBu(1e-5) - 10*math.Log10(s.Density.BandwidthHz)); d > 0.3 || d < -1.6 {
		t.Errorf("the tone shows %.2f dB from where it should", d)
	}
}

func TestBenchFloorIsTakenOffInPower(t *testing.T) {
	bench := Estimate{1, 0.01}
	for _, c := range []struct {
		read    float64
		want    float64
		limited bool
		note    bool
	}{
		{10, math.Sqrt(99), false, false}, {2, math.Sqrt(3), false, true}, {1.42, math.Sqrt(1.42*1.42 - 1), false, true},
		{1.4, 1.4 + 1.645*0.02, true, true}, {0.9, 0.9 + 1.645*0.02, true, true},
	} {
		got := takeOffFloor(Estimate{c.read, 0.02}, bench, 0)
		if math.Abs(got.Value-c.want) > 1e-12 || got.floorLimited != c.limited || got.upperBound != c.limited || (got.note != "") != c.note {
			t.Errorf("%g over a floor of 1: %+v, want %g", c.read, got, c.want)
		}
	}
	// JCGM 101:2008: the same by propagating distributions.
	rng := rand.New(rand.NewPCG(1, 2))
	sum, sum2 := 0.0, 0.0
	const n = 100000
	for range n {
		v := math.Sqrt(sq(2+0.02*rng.NormFloat64()) - sq(1+0.01*rng.NormFloat64()))
		sum += v / n
		sum2 += v * v / n
	}
	if got := takeOffFloor(Estimate{2, 0.02}, bench, 0); math.Abs(Hypot(got.Std, got.benchStd)/math.Sqrt(sum2-sum*sum)-1) > 0.02 {
		t.Errorf("standard uncertainty %+v, by Monte Carlo %g", got, math.Sqrt(sum2-sum*sum))
	}
}

// A line of the board's and one of the bench's own meet at a phase that is
// not known: the interval must hold the board's.
func TestLineOverTheBenchsOwnIsHeld(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, board := range []float64{0.3, 1, 1.5, 2, 3, 10} {
		held, n := 0, 4000
		for range n {
			phase := 2 * math.Pi * rng.Float64()
			read := math.Hypot(board+math.Cos(phase), math.Sin(phase))
			c := takeOffLine(Estimate{read, 1e-3}, Estimate{1, 1e-3})
			if c.upperBound && c.Value >= board || !c.upperBound && math.Abs(DB(c.Value/board)) <= 2*DBFromRelative(Hypot(c.Std, c.benchStd)/c.Value) {
				held++
			}
		}
		t.Logf("board %g times the bench: held %.3f", board, float64(held)/float64(n))
		if share := float64(held) / float64(n); share < 0.94 {
			t.Errorf("board %g times the bench: held in %.3f", board, share)
		}
	}
}

// Inputs terminated, then a board: what the board adds comes out.
func TestFloorOfATerminatedInput(t *testing.T) {
	own := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 1e-5, mainsHz: 50.01, harmonicsRMS: []float64{1e-5},
		tones: []line{{freqHz: 9000.5, rms: 2e-6}}, seed: 31}
	floor := FloorOf(analyse(t, own, SilenceOptions{}))
	if math.Abs(floor.MainsHz-50.01) > 0.01 || len(floor.Tones) != 1 || len(floor.Harmonics) != 40 {
		t.Fatalf("floor: %+v", floor)
	}
	both := own
	both.seed, both.noiseStd = 32, math.Hypot(1e-5, 1.5e-5)
	both.harmonicsRMS = []float64{1e-4, 3e-5}
	r := SilenceResult(analyse(t, both, SilenceOptions{}), "A", "", BenchInput{Floor: &floor})
	board := 1.5e-5 * math.Sqrt((NoiseHighHz-NoiseLowHz)/24000)
	for _, x := range r.Readings {
		switch {
		case x.Quantity == Hiss && x.Weighting == Unweighted:
			if math.Abs(x.Value-DBu(board)) > 2*x.Uncertainty || !strings.Contains(x.Note, "floor") {
				t.Errorf("hiss %.3f ± %.3f dBu, the board's is %.3f (%s)", x.Value, x.Uncertainty, DBu(board), x.Note)
			}
		case x.Quantity == OtherTone && math.Abs(x.FrequencyHz-9000.5) < 1:
			if !x.FloorLimited || !x.UpperBound {
				t.Errorf("the bench's own tone is laid to the board: %+v", x)
			}
		}
	}
	again := SilenceResult(analyse(t, own, SilenceOptions{}), "A", "", BenchInput{Floor: &floor})
	for _, x := range again.Readings {
		if (x.Quantity == Noise || x.Quantity == Hiss || x.Quantity == Hum) && (!x.FloorLimited || !x.UpperBound) {
			t.Errorf("the bench alone reads as a board: %+v", x)
		}
	}
}
