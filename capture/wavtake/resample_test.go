package wavtake

import (
	"math"
	"testing"
)

func straight(stretch float64) func(float64) float64 {
	return func(n float64) float64 { return stretch * n }
}

// A tone moved to the places between its samples must be the tone at those
// places: the truth is the sine itself.
func TestResampledTonesAreTheTones(t *testing.T) {
	worst := math.Inf(-1)
	for _, share := range []float64{0.0001, 0.01, 0.1, 0.25, 0.4, 0.45, 0.46} {
		for _, ppm := range []float64{-300, -17.3, 0.06, 300} {
			tone := func(at float64) float64 { return math.Sin(2*math.Pi*share*at + 1) }
			x := make([]float64, 6000)
			for i := range x {
				x[i] = tone(float64(i))
			}
			const start = 200
			stretch := 1 + ppm*1e-6
			for n, v := range resample(x, start, 5500, straight(stretch)) {
				worst = math.Max(worst, 20*math.Log10(math.Abs(v-tone(start+stretch*float64(n)))))
			}
		}
	}
	t.Logf("worst error %.1f dB", worst)
	if worst > -110 {
		t.Errorf("worst error %.1f dB of the tone's peak, -110 dB is promised", worst)
	}
}

func TestResampleTakesZeroOutside(t *testing.T) {
	for _, v := range resample([]float64{1, 1, 1}, 400, 5, straight(1.0001)) {
		if v != 0 {
			t.Errorf("far behind the end there is %g", v)
		}
	}
	x := []float64{0.25, 0.5, -1}
	for i, v := range resample(x, 0, 3, straight(1)) {
		if math.Abs(v-x[i]) > 1e-15 {
			t.Errorf("on sample %d itself there is %g, want %g", i, v, x[i])
		}
	}
}
