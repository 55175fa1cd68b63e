package analysis

import (
	"math"
	"testing"
)

// A mains that swings too far and too fast to be followed is bounded by what is
// there, however it is spread: its power is the sum of its lines' in closed form.
func TestASwingingMainsIsBounded(t *testing.T) {
	bounds := 0
	for _, swing := range []float64{0.2, 0.3, 0.4} {
		for _, everyS := range []float64{2, 5, 10} {
			q := quietRecord{rateHz: 8000, lengthS: 10, noiseStd: 1e-4, seed: uint64(1 + 10*swing + everyS)}
			x := q.make()
			harmonics := []float64{1e-3, 2e-4, 4e-4, 0, 2e-4, 0, 1e-4}
			power := 0.0
			for h, rms := range harmonics {
				power += sq(rms)
				for i := range x {
					at := float64(i) / q.rateHz
					turns := 50*at - swing*everyS/(2*math.Pi)*math.Cos(2*math.Pi*at/everyS)
					x[i] += math.Sqrt2 * rms * math.Sin(2*math.Pi*float64(h+1)*turns)
				}
			}
			s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
			if err != nil {
				t.Fatal(err)
			}
			truth := 20 * math.Log10(math.Sqrt(power))
			off := 20*math.Log10(s.Hum.Value) - truth
			t.Logf("±%g Hz in %g s: found %v, hum %+.3f dB off, bound %v, %d tones", swing, everyS, s.Mains.Found, off, s.HumUpperBound, len(s.Tones))
			if !s.HumUpperBound && math.Abs(off) < 0.05 {
				continue
			}
			bounds++
			if !s.HumUpperBound || s.Mains.Reason != swingsTooFar || len(s.Tones) > 1 || off < 0 || off > 1 {
				t.Errorf("±%g Hz in %g s: bound %v, %.2f dB off the truth", swing, everyS, s.HumUpperBound, off)
			}
		}
	}
	if bounds == 0 {
		t.Error("each swing was followed: none was bounded")
	}
}
