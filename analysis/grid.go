package analysis

import "math"

const (
	gridLowHz = 10.0
	// gridTopShare of the rate is 22 kHz at 48 kHz; a sweep has its full
	// level up to there.
	gridTopShare     = 22.0 / 48
	pointsPerOctave  = 24
	gridReferenceHz  = 1000.0
	gridTopTolerance = 1 + 1e-9
)

// Grid returns the frequencies in hertz at which curves are given for a
// sample rate: 1000·2^(n/24) Hz from 10 Hz to 22/48 of the rate. 1 kHz is
// always one of them.
func Grid(rateHz float64) []float64 {
	first := int(math.Ceil(pointsPerOctave * math.Log2(gridLowHz/gridReferenceHz)))
	var grid []float64
	for n := first; ; n++ {
		f := gridReferenceHz * math.Exp2(float64(n)/pointsPerOctave)
		if f > gridTopShare*rateHz*gridTopTolerance {
			return grid
		}
		grid = append(grid, f)
	}
}

// onGrid is y, given at the frequencies of coarse, at those of fine, all within
// them: straight over frequency.
func onGrid(fine, coarse, y []float64) []float64 {
	if y == nil {
		return nil
	}
	out := make([]float64, len(fine))
	i := 1
	for k, f := range fine {
		for i < len(coarse)-1 && coarse[i] < f {
			i++
		}
		x := (f - coarse[i-1]) / (coarse[i] - coarse[i-1])
		out[k] = (1-x)*y[i-1] + x*y[i]
	}
	return out
}

// NearestIndex returns the index of the frequency nearest to f on a
// logarithmic scale, -1 when the grid is empty.
func NearestIndex(frequencyHz []float64, f float64) int {
	best, at := math.Inf(1), -1
	for i, g := range frequencyHz {
		if d := math.Abs(math.Log(g / f)); d < best {
			best, at = d, i
		}
	}
	return at
}
