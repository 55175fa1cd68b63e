package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
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
		var sweeps []*sweepTake
		for seed, h := range []complex128{1, 1 + off, 1} {
			sweeps = append(sweeps, &sweepTake{gated: []*Gated{flatGated(h, std, uint64(seed+1))}, reasons: []string{""}})
		}
		var tones []Result
		for _, db := range []float64{0, 0.1, 0} {
			tones = append(tones, Result{Readings: []Reading{reading(Gain, "A", db, Budget{typeA(sourceNoise, 0.1/sigmas/math.Sqrt(1.5))})}})
		}
		for what, s := range map[string]screening{"sweep": screenSweeps(sweeps, []string{"A"}), "tone": screenTones(tones, []string{"A"})} {
			spoilt, err := s.spoilt()
			if err != nil || (len(spoilt) == 1) != want || want && spoilt[0].Take != 1 {
				t.Errorf("a %s %.1f standard uncertainties off: left out %v, %v", what, sigmas, spoilt, err)
			}
		}
	}
}

// A take that was refused, or has no noise to be read, is no measure of how loud the others
// are; one that is too loud at one output stays a measure at the next.
func TestWhatIsLoud(t *testing.T) {
	none := math.Inf(-1)
	for name, c := range map[string]struct {
		reasons [][]string
		levels  [][]float64
		want    []int
	}{
		"one of two refused":       {[][]string{{"clipped"}, {""}}, [][]float64{{none}, {-90}}, []int{0}},
		"a refused one's level":    {[][]string{{"clipped"}, {""}}, [][]float64{{-120}, {-90}}, []int{0}},
		"one of two unread":        {[][]string{{""}, {""}}, [][]float64{{none}, {-90}}, nil},
		"of two the quieter":       {[][]string{{""}, {""}}, [][]float64{{-90}, {-79}}, []int{1}},
		"no louder than it may be": {[][]string{{""}, {""}}, [][]float64{{-90}, {-80}}, nil},
		"each at another output":   {[][]string{{"", ""}, {"", ""}}, [][]float64{{-79, -90}, {-90, -79}}, []int{0, 1}},
	} {
		s := screening{outputs: []string{"A", "B"}[:len(c.levels[0])], reasons: c.reasons, noises: []loudness{{"the hiss", 10, func(take, output int) float64 { return c.levels[take][output] }}}}
		spoilt, err := s.spoilt()
		var got []int
		for _, x := range spoilt {
			got = append(got, x.Take)
		}
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: left out %v, %v, want %v", name, spoilt, err, c.want)
		}
	}
}
