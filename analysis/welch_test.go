package analysis

import (
	"math"
	"testing"

	"boardproof/testsignals"

	"github.com/mjibson/go-dsp/spectral"
)

func all(x []float64) []testsignals.Span {
	return []testsignals.Span{{Start: 0, End: len(x)}}
}

// Hann: noise bandwidth 1.50 bins, coherent gain 0.50: Harris, Proc. IEEE
// 66(1), 1978, Table 1 (from memory).
func TestHannWindowHasHarrisFigures(t *testing.T) {
	const n = 4096
	sum := 0.0
	for _, v := range periodicHann(n) {
		sum += v
	}
	if g := sum / n; math.Abs(g-0.50) > 1e-12 {
		t.Errorf("coherent gain %g, Harris has 0.50", g)
	}
	d := welch(make([]float64, 3*n), all(make([]float64, 3*n)), n, n)
	if bins := d.enbwHz / d.binHz; math.Abs(bins-1.50) > 1e-9 {
		t.Errorf("noise bandwidth %g bins, Harris has 1.50", bins)
	}
}

func TestWelchAgreesWithGoDSP(t *testing.T) {
	const segLen = 1024
	x := quietRecord{rateHz: 8000, lengthS: 3, noiseStd: 1, seed: 4}.make()
	d := welch(x, all(x), 8000, segLen)
	want, _ := spectral.Pwelch(x, 8000, &spectral.PwelchOptions{NFFT: segLen, Noverlap: segLen / 2, Window: periodicHann})
	for k := range want {
		if rel := math.Abs(d.psd[k]/want[k] - 1); rel > 1e-9 {
			t.Fatalf("bin %d: %g, go-dsp has %g", k, d.psd[k], want[k])
		}
	}
}

// Thermal noise, V = √(4kTRB), k = 1.380649e-23 J/K (SI, exact): 10 kΩ at
// 290 K over 20 kHz is 1.79 µV or -112.7 dBu; from 20 Hz up it is 0.05 % less
// in voltage.
func TestThermalNoiseReadsAsItsFormula(t *testing.T) {
	density := 4 * 1.380649e-23 * 290 * 10e3 // V²/Hz
	if v := DBu(math.Sqrt(density * 20000)); math.Abs(v+112.7) > 0.05 {
		t.Fatalf("the formula gives %.2f dBu", v)
	}
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: math.Sqrt(density * 48000 / 2), seed: 5}
	s := analyse(t, q, SilenceOptions{})
	want := math.Sqrt(density * (NoiseHighHz - NoiseLowHz))
	got := s.Noise[Unweighted]
	if math.Abs(got.Value-want) > 4*got.Std {
		t.Errorf("noise %g V ± %g V (standard), want %g V", got.Value, got.Std, want)
	}
}

// The stated standard uncertainty is the scatter that is seen, for a wide
// band and for the narrowest third octave, with and without a line.
func TestNoiseScattersAsStated(t *testing.T) {
	const trials = 300
	type sample struct{ value, std float64 }
	read := map[string][]sample{}
	for i := range trials {
		q := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1, seed: uint64(100 + i)}
		if i%2 == 1 {
			q.tones = []line{{freqHz: 441, rms: 2}}
		}
		x := q.make()
		d := welch(x, all(x), q.rateHz, welchLength(all(x), q.rateHz))
		clean := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1, seed: uint64(100 + i)}.make()
		hiss := welch(clean, all(clean), q.rateHz, welchLength(all(x), q.rateHz))
		name := []string{"wide", "with a line"}[i%2]
		lines := []line{}
		if i%2 == 1 {
			lines = append(lines, line{441, 2, math.Sqrt(q.densityOf() / (2 * q.lengthS))})
		}
		e := noiseLevels(d, hiss, lines)[WeightA]
		read[name] = append(read[name], sample{e.Value, e.Std})
		narrow := thirdOctaves(hiss, hiss, nil)[3] // 50 Hz
		read["50 Hz third octave"] = append(read["50 Hz third octave"], sample{narrow.RMS.Value, narrow.RMS.Std})
	}
	for name, samples := range read {
		mean, meanStd, scatter := 0.0, 0.0, 0.0
		n := float64(len(samples))
		for _, s := range samples {
			mean += s.value / n
			meanStd += s.std / n
		}
		for _, s := range samples {
			scatter += sq(s.value-mean) / (n - 1)
		}
		ratio := math.Sqrt(scatter) / meanStd
		t.Logf("%s: scatter over stated %.3f", name, ratio)
		// A scatter from 150 samples is itself known to 6 %: four times that
		// above; below, the smoothing of a narrow band by the window may make
		// the statement a fifth too large.
		if ratio > 1.24 || ratio < 0.65 {
			t.Errorf("%s: scatter is %.3f of what is stated", name, ratio)
		}
	}
}

func TestThirdOctavesTileTheBand(t *testing.T) {
	// IEC 61260-1:2014: 1000·10^(n/10), edges ×10^(±1/20).
	for n := firstThirdOctave; n < lastThirdOctave; n++ {
		_, _, high := thirdOctaveBand(n)
		_, low, _ := thirdOctaveBand(n + 1)
		if math.Abs(high/low-1) > 1e-12 {
			t.Errorf("band %d ends at %g Hz, the next begins at %g Hz", n, high, low)
		}
	}
	if c, low, high := thirdOctaveBand(firstThirdOctave); math.Abs(c-25.119) > 1e-3 || math.Abs(high/low-math.Pow(10, 0.1)) > 1e-12 {
		t.Errorf("lowest band %g Hz from %g to %g Hz", c, low, high)
	}
	x := quietRecord{rateHz: 48000, lengthS: 3, noiseStd: 1, seed: 8}.make()
	d := welch(x, all(x), 48000, welchLength(all(x), 48000))
	sum := 0.0
	bands := thirdOctaves(d, d, nil)
	for _, b := range bands {
		sum += sq(b.RMS.Value)
	}
	_, low, _ := thirdOctaveBand(firstThirdOctave)
	_, _, high := thirdOctaveBand(lastThirdOctave)
	whole := weightedPower(d, d, Unweighted, low, high).power
	if len(bands) != 30 || math.Abs(sum/whole-1) > 1e-9 {
		t.Errorf("%d bands hold %g of the power between their edges", len(bands), sum/whole)
	}
}

func analyse(t *testing.T, q quietRecord, opt SilenceOptions) *Silence {
	t.Helper()
	s, err := AnalyseSilence(q.make(), q.rateHz, opt)
	if err != nil {
		t.Fatal(err)
	}
	if s.Reason != "" {
		t.Fatal(s.Reason)
	}
	return s
}
