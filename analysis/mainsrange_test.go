package analysis

import "testing"

// EN 50160 lets the frequency of an interconnected grid go from 47 to 52 Hz,
// and that of an island further (from memory); grids at 60 Hz likewise, by the
// same shares.
func TestMainsIsFoundOverTheRangeOfTheStandard(t *testing.T) {
	worst, worstLine := 0.0, 0.0
	for i, c := range []struct{ hz, driftHzPerS float64 }{
		{47.05, 0}, {48, 0}, {49.2, 0.02}, {49.2, -0.02}, {49.5, 0}, {50.5, 0}, {51.95, 0},
		{56.5, 0}, {58, 0}, {60.7, 0.02}, {60.7, -0.02}, {62.3, 0},
	} {
		q := quietRecord{rateHz: 8000, lengthS: 8, noiseStd: 1e-4, mainsHz: c.hz, driftHzPerS: c.driftHzPerS, harmonicsRMS: rectifierHum(3e-3, 40), seed: uint64(40 + i)}
		s := analyse(t, q, SilenceOptions{})
		if !s.Mains.Found {
			t.Errorf("%g Hz: %s", c.hz, s.Mains.Reason)
			continue
		}
		within(t, "mains frequency", s.Mains.FrequencyHz, c.hz, 3.5)
		within(t, "mains drift", s.Mains.DriftHzPerS, c.driftHzPerS, 3.5)
		worst = max(worst, abs(s.Mains.FrequencyHz.Value-c.hz)/s.Mains.FrequencyHz.Std)
		for h, x := range s.Harmonics {
			if x.UpperBound {
				t.Errorf("%g Hz: line %d is a bound", c.hz, h+1)
				continue
			}
			within(t, "harmonic", x.RMS, q.harmonicsRMS[h], 4)
			worstLine = max(worstLine, abs(x.RMS.Value-q.harmonicsRMS[h])/x.RMS.Std)
		}
	}
	t.Logf("worst: frequency %.2f, a harmonic %.2f standard uncertainties", worst, worstLine)
}

func abs(x float64) float64 { return max(x, -x) }
