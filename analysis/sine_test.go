package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

func sine(n int, rate, f, amp, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amp * math.Cos(2*math.Pi*f*float64(i)/rate+phase)
	}
	return x
}

// The Cramér-Rao bounds of one real tone in white noise (Rife & Boorstyn 1974;
// Kay 1993, example 3.14): var(A) >= 2s²/N, var(f) >= 6·s²·fs²/(π²A²N(N²−1)).
// An unbiased estimator's variance over many trials lies at the bound and not
// below; with 400 trials the ratio scatters by 7 % (one standard deviation).
func TestToneReachesCramerRaoBound(t *testing.T) {
	const n, rate, amp, noise, trials = 4096, 48000.0, 0.5, 0.005, 400
	rng := rand.New(rand.NewPCG(7, 7))
	var sa, sf, stated float64
	for range trials {
		f := 1000 + 3*rng.Float64()
		x := sine(n, rate, f, amp, 6*rng.Float64())
		addNoise(x, noise, rng)
		fit, err := FitTone([][]float64{x}, rate, 1001.5, 1)
		if err != nil {
			t.Fatal(err)
		}
		sa += sq(fit.Channels[0].Amplitude[0] - amp)
		sf += sq(fit.FrequencyHz.Value - f)
		stated += sq(fit.Channels[0].Std[0])
	}
	boundA := 2 * noise * noise / n
	boundF := 6 * sq(noise*rate/(math.Pi*amp)) / (n * (float64(n)*n - 1))
	ratioA, ratioF, ratioU := sa/trials/boundA, sf/trials/boundF, stated/trials/boundA
	t.Logf("variance over bound: amplitude %.3f, frequency %.3f; stated variance over bound %.3f", ratioA, ratioF, ratioU)
	for name, r := range map[string]float64{"amplitude": ratioA, "frequency": ratioF} {
		if r > 1.25 || r < 0.78 {
			t.Errorf("%s: variance is %.3f times the bound", name, r)
		}
	}
	if math.Abs(ratioU-1) > 0.1 {
		t.Errorf("the stated variance of the amplitude is %.3f times the bound", ratioU)
	}
}

// A square wave's harmonics fall as 1/n (Fourier series): with the first ten
// orders THD is sqrt(1/9+1/25+1/49+1/81).
func TestTHDOfSquareWaveSeries(t *testing.T) {
	rec := toneRecording(t, func(x float64) float64 { return x })
	for i := range rec.Samples[0] {
		p := 2 * math.Pi * 1000 * float64(i) / rec.RateHz
		rec.Samples[0][i] = 0
		for n := 1; n <= 9; n += 2 {
			rec.Samples[0][i] += 0.1 / float64(n) * math.Sin(float64(n)*p)
		}
	}
	addNoise(rec.Samples[0], 1e-6, rand.New(rand.NewPCG(1, 1)))
	want := 100 * math.Sqrt(1./9+1./25+1./49+1./81)
	got := readingOf(t, mustTone(t, rec), THD)
	if math.Abs(got.Value-want) > got.Uncertainty+1e-6 {
		t.Errorf("THD is %.6f %% ± %.2g, want %.6f", got.Value, got.Uncertainty, want)
	}
	// THD+N is over the total: THD/sqrt(1+THD²) when there is no noise.
	wantN := 100 * math.Sin(math.Atan(want/100))
	if n := readingOf(t, mustTone(t, rec), THDN); math.Abs(n.Value-wantN) > 0.001 {
		t.Errorf("THD+N is %.5f %%, want %.5f", n.Value, wantN)
	}
}

func toneRecording(t testing.TB, device func(float64) float64) *Recording {
	sig := mustSignal(t, testsignals.New(testsignals.Tone, 48000, -12, 0))
	x := padded(sig, 200, 2000)
	for i, v := range x {
		x[i] = device(v)
	}
	return &Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A"}, Samples: [][]float64{x}, OffsetFrames: 200}
}

func mustTone(t testing.TB, rec *Recording) Result {
	t.Helper()
	res, err := ToneResult(rec)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func readingOf(t testing.TB, res Result, quantity string) Reading {
	t.Helper()
	for _, r := range res.Readings {
		if r.Quantity == quantity {
			return r
		}
	}
	t.Fatalf("%s was not read; refused: %v", quantity, res.Refused)
	return Reading{}
}

func TestToneWithoutSignalIsRefused(t *testing.T) {
	rec := toneRecording(t, func(float64) float64 { return 0 })
	addNoise(rec.Samples[0], 1e-4, rand.New(rand.NewPCG(3, 3)))
	res := mustTone(t, rec)
	if len(res.Readings) != 0 || len(res.Refused) == 0 {
		t.Errorf("silence gave %v, refused %v", res.Readings, res.Refused)
	}
}
