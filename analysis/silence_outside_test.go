package analysis

import (
	"math"
	"testing"

	"boardproof/analysis/internal/scipytest"
)

// scipy runs a script with x.
func scipy(t *testing.T, x []float64, script string) []float64 {
	t.Helper()
	return scipytest.Run(t, x, nil, script)
}

// scipy.signal.welch on the same samples.
func TestOutsideWelchAgreesWithSciPy(t *testing.T) {
	x := quietRecord{rateHz: 48000, lengthS: 2, noiseStd: 1e-5, mainsHz: 50, harmonicsRMS: rectifierHum(1e-4, 5), seed: 1}.make()
	d := welch(x, all(x), 48000, 8192)
	want := scipy(t, x, "f, p = signal.welch(x, 48000, 'hann', 8192, detrend=False)\nanswer(p.tolist())")
	if len(want) != len(d.psd) {
		t.Fatalf("SciPy has %d bins, %d here", len(want), len(d.psd))
	}
	worst := 0.0
	for k := range want {
		worst = math.Max(worst, math.Abs(d.psd[k]/want[k]-1))
	}
	t.Logf("worst relative deviation %.2g", worst)
	if worst > 1e-6 {
		t.Errorf("off by %g of it", worst)
	}
}

// scipy.linalg.lstsq on the same samples, with the frequency and drift found
// here: a column each for cosine and sine of 40 harmonics, and a constant.
func TestOutsideCombAgreesWithSciPyLeastSquares(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 3, noiseStd: 1e-5, mainsHz: 49.93, driftHzPerS: 0.01, harmonicsRMS: rectifierHum(1e-4, 40), seed: 2}
	x := q.make()
	y, _ := withoutMean(x, 1, all(x))
	raw := welch(y, all(y), q.rateHz, 4096)
	both := append([]float64(nil), y...)
	first := findComb(y, all(y), q.rateHz, []float64{50, 60}, true, nil)
	lines := fitMainsLines(append([]float64(nil), y...), q.rateHz, raw, []float64{50}, false, first)
	if !lines.found() {
		t.Fatal(lines.comb.Reason)
	}
	for i := range y {
		both = append(both, lines.comb.phase.at(float64(i)))
	}
	want := scipy(t, both, `
x, phase = x[:len(x)//2], 2*np.pi*x[len(x)//2:]
a = np.stack([g(h*phase) for h in range(1, 41) for g in (np.cos, lambda v: -np.sin(v))] + [np.ones_like(x)], axis=1)
answer(linalg.lstsq(a, x)[0].tolist())`)
	worst := 0.0
	for h := 1; h <= searchHarmonics; h++ {
		a := lines.comb.Amplitudes[h]
		off := math.Hypot(real(a)-want[2*h-2], imag(a)-want[2*h-1])
		worst = math.Max(worst, off/math.Hypot(want[2*h-2], want[2*h-1]))
	}
	t.Logf("worst relative deviation of an amplitude %.2g", worst)
	if worst > 1e-6 {
		t.Errorf("off by %g of it", worst)
	}
}

// The unweighted and A-weighted levels by scipy.signal.welch and the closed
// form of IEC 61672-1 written a second time.
func TestOutsideNoiseLevelsAgreeWithSciPy(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 3, noiseStd: 1e-5, seed: 3}
	x := q.make()
	d := welch(x, all(x), q.rateHz, 32768)
	want := scipy(t, x, `
f, p = signal.welch(x, 48000, 'hann', 32768, detrend=False)
df = f[1]
share = np.clip((np.minimum(f+df/2, 20000) - np.maximum(f-df/2, 20))/df, 0, 1)
s = 2j*np.pi*np.maximum(f, 1e-9)
w = [2*np.pi*v for v in (20.598997, 107.65265, 737.86223, 12194.217)]
a = abs(s**4/((s+w[0])**2*(s+w[1])*(s+w[2])*(s+w[3])**2))
one = 2j*np.pi*1000
a /= abs(one**4/((one+w[0])**2*(one+w[1])*(one+w[2])*(one+w[3])**2))
answer([float(np.sqrt(sum(p*share)*df)), float(np.sqrt(sum(p*a**2*share)*df))])`)
	got := noiseLevels(d, d, nil)
	for i, w := range []string{Unweighted, WeightA} {
		if rel := math.Abs(got[w].Value/want[i] - 1); rel > 1e-6 {
			t.Errorf("%s: %g V, SciPy has %g V", w, got[w].Value, want[i])
		}
	}
}
