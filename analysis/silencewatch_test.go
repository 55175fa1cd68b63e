package analysis

import (
	"math"
	"testing"
)

// A hum that stands still, falls to a tenth and goes away is read in each window as it
// is, its truth being what it was made of; hiss only in each fullEvery-th.
func TestEachWindowOfAWatchHasItsHum(t *testing.T) {
	const rateHz, hop = 8000.0, 2000
	made := quietRecord{rateHz: rateHz, lengthS: 12, noiseStd: 1e-6, mainsHz: 50.03, harmonicsRMS: []float64{1e-3, 0, 2e-4}, seed: 5}.make()
	still := quietRecord{rateHz: rateHz, lengthS: 12, noiseStd: 1e-6, seed: 5}.make()
	level := func(i int) float64 { return []float64{1, 0.1, 0}[min(i/34000, 2)] }
	x := make([]float64, len(made))
	for i := range x {
		x[i] = still[i] + level(i)*(made[i]-still[i])
	}
	var w SilenceWatch
	light, fresh, before := 0, 0, 0.0
	for at := 0; at+16000 <= len(x); at += hop {
		rec := &Recording{Outputs: []string{"A"}, Samples: [][]float64{x[at : at+16000]}, RateHz: rateHz}
		all, reasons, err := w.Silences(rec, 0)
		if err != nil || reasons[0] != "" {
			t.Fatal(err, reasons)
		}
		s := all[0]
		if hiss := s.Hiss[Unweighted].Value; hiss == before {
			light++
		} else {
			fresh, before = fresh+1, hiss
		}
		switch from, to := level(max(at-lostEvery*hop, 0)), level(at+15999); {
		case from != to: // a step is no hum, and the next window may repeat that
		case from == 0:
			if s.Mains.Found && at > 68000+fullEvery*hop {
				t.Errorf("window at %d: hum of %g V where there is none", at, s.Hum.Value)
			}
		default:
			for h, rms := range map[int]float64{1: 1e-3 * from, 3: 2e-4 * from} {
				if got := s.Harmonics[h-1].RMS; math.Abs(got.Value-rms) > 4*got.Std || got.Std > 1e-3*rms+1e-7 {
					t.Errorf("window at %d: harmonic %d is %g ± %g V, want %g", at, h, got.Value, got.Std, rms)
				}
			}
			if math.Abs(s.Mains.FrequencyHz.Value-50.03) > 0.01 {
				t.Errorf("window at %d: %g Hz", at, s.Mains.FrequencyHz.Value)
			}
		}
	}
	if light < fresh {
		t.Errorf("%d windows were read anew, %d from the one before", fresh, light)
	}
}
