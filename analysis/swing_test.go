package analysis

import (
	"math"
	"testing"
)

// swinging is hum whose frequency swings around 50 Hz once in 20 s, and the
// mean of that frequency.
func swinging(q quietRecord, swingHz float64) (x []float64, meanHz float64) {
	x = q.make()
	cycles := 0.0
	for i := range x {
		hz := 50 + swingHz*math.Sin(2*math.Pi*float64(i)/q.rateHz/20+0.3)
		cycles += hz / q.rateHz
		meanHz += hz / float64(len(x))
		for h := 1; h <= 15; h++ {
			x[i] += 1e-3 / float64(h) * math.Cos(2*math.Pi*float64(h)*cycles+float64(h))
		}
	}
	return x, meanHz
}

func TestSwingingMainsIsAllCountedAsHum(t *testing.T) {
	hum := 0.0
	for h := 1; h <= 15; h++ {
		hum = math.Hypot(hum, 1e-3/float64(h)/math.Sqrt2)
	}
	for _, c := range []struct{ lengthS, swingHz float64 }{{10, 0.05}, {20, 0.05}, {30, 0.1}, {60, 0.02}} {
		q := quietRecord{rateHz: 8000, lengthS: c.lengthS, noiseStd: 1e-4, seed: 6}
		x, meanHz := swinging(q, c.swingHz)
		s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
		if err != nil || !s.Mains.Found {
			t.Fatal(err, s.Mains)
		}
		t.Logf("%g s: hum off by %.4f dB ± %.4f, frequency by %.2g ± %.2g Hz", c.lengthS, DB(s.Hum.Value/hum),
			2*DBFromRelative(s.Hum.Std/hum), s.Mains.FrequencyHz.Value-meanHz, 2*s.Mains.FrequencyHz.Std)
		within(t, "hum", s.Hum, hum, 3.5)
		within(t, "mains frequency", s.Mains.FrequencyHz, meanHz, 3.5)
		within(t, "hiss", s.Hiss[Unweighted], math.Sqrt(q.densityOf()*(4000-NoiseLowHz)), 3.5)
		if len(s.Tones) > 0 {
			t.Errorf("%g s: sidebands are taken for tones: %v", c.lengthS, s.Tones)
		}
	}
}

func TestALineTooNearAHarmonicIsOwnedUpTo(t *testing.T) {
	for _, awayHz := range []float64{0.14, 0.2} {
		q := quietRecord{rateHz: 8000, lengthS: 10, noiseStd: 1e-4, mainsHz: 50.02,
			harmonicsRMS: []float64{7e-4, 7e-5, 3.5e-4}, tones: []line{{150.06 + awayHz, 2.1e-4, 0}}, seed: 8}
		s := analyse(t, q, SilenceOptions{})
		third := s.Harmonics[2]
		within(t, "third harmonic", third.RMS, 3.5e-4, CoverageK)
		if third.Note != besideNote {
			t.Errorf("%g Hz away: note %q", awayHz, third.Note)
		}
		q.tones = nil
		for _, h := range analyse(t, q, SilenceOptions{}).Harmonics {
			if h.Note != "" {
				t.Errorf("harmonic %d without a line beside it: note %q", h.Harmonic, h.Note)
			}
		}
	}
}
