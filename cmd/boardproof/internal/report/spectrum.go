package report

import (
	"math"
	"slices"

	"boardproof/analysis"
)

const (
	// cellsPerDecade is how fine a spectrum is drawn: about one cell a point.
	cellsPerDecade = 150
	// peakDB is how far above its cell's middle a line stands that is drawn as
	// such. The highest of a hundred bins of plain noise, not averaged, is 8 dB
	// above their median (exponential distribution: ln 100 over ln 2).
	peakDB = 12
)

// spectrum is the trace of a noise density. Where many points fall into one
// cell of the drawing their mean power is drawn, or the highest of them where
// it stands out as a line: ink over all of them would be a solid ribbon.
func spectrum(c analysis.Curve, in ink, index int) trace {
	drawn := analysis.Curve{}
	var cell []float64
	last := math.NaN()
	flush := func() {
		if len(cell) > 0 {
			drawn.Value = append(drawn.Value, cellLevel(cell))
			drawn.FrequencyHz = append(drawn.FrequencyHz, math.Pow(10, (last+0.5)/cellsPerDecade))
		}
		cell = cell[:0]
	}
	for i := range min(len(c.FrequencyHz), len(c.Value)) {
		f, v := c.FrequencyHz[i], c.Value[i]
		if !onPaper(f, v) {
			continue
		}
		if at := math.Floor(math.Log10(f) * cellsPerDecade); at != last {
			flush()
			last = at
		}
		cell = append(cell, v)
	}
	flush()
	return newTrace(drawn, drawn.Value, nil, in, index)
}

// cellLevel is the level in dB that stands for those of one cell.
func cellLevel(db []float64) float64 {
	power := 0.0
	for _, v := range db {
		power += math.Pow(10, v/10)
	}
	mean := 10 * math.Log10(power/float64(len(db)))
	sorted := slices.Sorted(slices.Values(db))
	if top := sorted[len(sorted)-1]; top-sorted[len(sorted)/2] > peakDB || !finite(mean) {
		return top
	}
	return mean
}
