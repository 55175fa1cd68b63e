package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

// flatGated is a response of height h in noise of std, each take's its own.
func flatGated(h complex128, std float64, seed uint64) *Gated {
	grid, rng := Grid(48000), rand.New(rand.NewPCG(seed, 3))
	g := &Gated{FrequencyHz: grid, H: make([]complex128, len(grid)), noise: make([][]complex128, len(grid))}
	for i := range grid {
		g.H[i] = h
		for range noiseGates {
			g.noise[i] = append(g.noise[i], complex(rng.NormFloat64()*std/math.Sqrt2, rng.NormFloat64()*std/math.Sqrt2))
		}
	}
	g.Noise = g.smoothNoise()
	return g
}

// A take that is two standard uncertainties off the mean of the others is left out
// (k = 2: JCGM 100:2008, 6.3.3), one that is nearer is not: a sweep, whose difference from
// the mean of two has 3/2 of the noise's power, and a tone.
func TestStraysFromBothSides(t *testing.T) {
	const off = 0.0116 // 0.1 dB
	for sigmas, want := range map[float64]bool{1.6: false, 2.5: true} {
		// Noise rises as f in a response, and is levelled so.
		std := off / sigmas / math.Sqrt(1.5)
		takes := []*Gated{flatGated(1, std, 1), flatGated(1+off, std, 2), flatGated(1, std, 3)}
		take, db, bad, err := stray(takes)
		if err != nil || bad != want || bad && (take != 1 || math.Abs(db-0.1) > 0.02) {
			t.Errorf("a sweep %.1f standard uncertainties off: take %d, %.3f dB, %v, %v", sigmas, take, db, bad, err)
		}
		tone := func(db float64) Result {
			return Result{Readings: []Reading{reading(Gain, "A", db, Budget{typeA(sourceNoise, 0.1/sigmas/math.Sqrt(1.5))})}}
		}
		if spoilt := strayTones([]Result{tone(0), tone(0.1), tone(0)}, nil, "A"); (len(spoilt) == 1) != want {
			t.Errorf("a tone %.1f standard uncertainties off: left out %v", sigmas, spoilt)
		}
	}
}
