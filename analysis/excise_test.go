package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// A density that is a straight line comes back as it was, whatever stood on
// the lines that were cut out.
func TestExciseBridgesAStraightDensity(t *testing.T) {
	d := density{binHz: 1.5, psd: make([]float64, 400), effectiveS: 10}
	want := make([]float64, len(d.psd))
	lines := []float64{99, 201, 204, 450}
	for k := range d.psd {
		want[k] = 2 + 0.01*float64(k)
		d.psd[k] = want[k]
	}
	for _, hz := range lines {
		for k := -2; k <= 2; k++ {
			d.psd[int(hz/d.binHz)+k] += 50
		}
	}
	excise(&d, []reach{{hz: lines[0]}, {hz: lines[1]}, {hz: lines[2]}, {hz: lines[3]}})
	for k := range want {
		if math.Abs(d.psd[k]-want[k]) > 1e-9 {
			t.Errorf("bin %d is %g, want %g", k, d.psd[k], want[k])
		}
	}
	if d.effectiveS >= 10 || d.effectiveS < 9 {
		t.Errorf("the averaging time is %g s, want a little less than 10 s", d.effectiveS)
	}
}

// A mains whose frequency walks smears its high harmonics: what no steady
// line fits must not be read as hiss.
func TestHissWithoutSmearedHarmonics(t *testing.T) {
	const rate, seconds, noise = 48000, 10, 1e-5
	for seed := range uint64(3) {
		rng := rand.New(rand.NewPCG(seed, 8))
		x := make([]float64, rate*seconds)
		phase, hz := rng.Float64(), 50.0
		for i := range x {
			hz += 1e-3 * rng.NormFloat64() / math.Sqrt(rate)
			phase += hz / rate
			x[i] = 1e-6*comb(2*math.Pi*phase, 390) + noise*rng.NormFloat64()
		}
		s, err := AnalyseSilence(x, rate, SilenceOptions{})
		if err != nil {
			t.Fatal(err)
		}
		want := noise * math.Sqrt((NoiseHighHz-NoiseLowHz)/(rate/2))
		h := s.Hiss[Unweighted]
		t.Logf("hiss %.4g ± %.2g, the noise is %.4g; noise and hum %.4g", h.Value, h.Std, want, s.Noise[Unweighted].Value)
		if math.Abs(h.Value-want) > 4*h.Std {
			t.Errorf("hiss is %.4g, want %.4g ± %.2g", h.Value, want, h.Std)
		}
	}
}

// comb is the sum of cos(h·phase) for h from 1 to top, as a geometric series.
func comb(phase float64, top int) float64 {
	z := cis(phase)
	if d := 1 - z; cmplx.Abs(d) > 1e-9 {
		return real((z - cis(float64(top+1)*phase)) / d)
	}
	return float64(top)
}
