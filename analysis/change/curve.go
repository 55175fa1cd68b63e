package change

import (
	"math"

	"boardproof/analysis"
)

// CurveChange is a curve then and now, at the frequencies that both have.
type CurveChange struct {
	Quantity    string    `json:"quantity"`
	Output      string    `json:"output,omitempty"`
	Reference   string    `json:"reference,omitempty"`
	State       string    `json:"state,omitempty"`
	Unit        string    `json:"unit"`
	FrequencyHz []float64 `json:"frequency_hz"`
	Before      []float64 `json:"before"`
	After       []float64 `json:"after"`
	// Difference is after − before, Uncertainty its own, expanded (k = 2).
	Difference  []float64 `json:"difference"`
	Uncertainty []float64 `json:"uncertainty"`
	// Bounds is at how many frequencies one run or both know but a bound. Where a least
	// difference follows it is given; else they are left out.
	Bounds int `json:"bounds,omitempty"`
	// alone and alike are the standard uncertainties of each difference by itself,
	// and together with all others.
	alone, alike []float64
	// parted: alike is the same at all points, and all of what they share.
	parted bool
	// WorstHz is the middle of the third of an octave in which the difference is
	// largest in terms of its uncertainty, 1 kHz where that is all of the curve.
	WorstHz float64 `json:"worst_hz"`
	// P is that of the worst third of an octave times the number of them
	// (Bonferroni).
	P         float64 `json:"p"`
	PTogether float64 `json:"p_together"`
	Outcome   Outcome `json:"change"`
	// WithinPlug is as in Row, at every point.
	WithinPlug bool `json:"within_plug,omitempty"`
}

// The band in which curves are tested: what can be heard.
const lowestHz, highestHz = 20.0, 20000.0

// compareCurves compares responses and split differences, those of one key in
// the order in which they come.
func compareCurves(before, after []analysis.Curve, ties Ties, moved map[string]float64) []CurveChange {
	var out []CurveChange
	taken := make([]bool, len(before))
	for _, a := range after {
		if a.Quantity != analysis.Response && a.Quantity != analysis.SplitDifference {
			continue
		}
		for j, b := range before {
			if taken[j] || b.Quantity != a.Quantity || b.Output != a.Output || b.Reference != a.Reference || b.State != a.State {
				continue
			}
			taken[j] = true
			extra := math.Abs(moved[a.Output]-moved[a.Reference]) / math.Sqrt(3)
			if c := compareCurve(b, a, ties, extra); len(c.FrequencyHz) > 1 {
				out = append(out, c)
			}
			break
		}
	}
	return out
}

// compareCurve adds extra, a standard uncertainty, to each point.
func compareCurve(before, after analysis.Curve, ties Ties, extra float64) CurveChange {
	c := CurveChange{Quantity: after.Quantity, Output: after.Output, Reference: after.Reference, State: after.State, Unit: after.Unit, P: 1}
	j := 0
	for i, f := range after.FrequencyHz {
		for j < len(before.FrequencyHz)-1 && before.FrequencyHz[j] < f*(1-1e-6) {
			j++
		}
		if j >= len(before.FrequencyHz) || math.Abs(before.FrequencyHz[j]/f-1) > 1e-6 {
			continue
		}
		d := after.Value[i] - before.Value[j]
		if bound := boundOf(before, j) - boundOf(after, i); bound != 0 || boundOf(before, j) != 0 {
			// Of a bound and a figure that is beyond it a least difference follows.
			if c.Bounds++; float64(bound)*d <= 0 {
				continue
			}
		}
		alone, alike := pointStds(before, j, ties)
		alone2, alike2 := pointStds(after, i, ties)
		alone, alike = analysis.Hypot(alone, alone2), analysis.Hypot(alike, alike2, extra)
		u := analysis.CoverageK * analysis.Hypot(alone, alike)
		c.alone, c.alike = append(c.alone, alone), append(c.alike, alike)
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Before, c.After = append(c.Before, before.Value[j]), append(c.After, after.Value[i])
		c.Difference, c.Uncertainty = append(c.Difference, d), append(c.Uncertainty, u)
	}
	c.parted = ties.Profile && ties.Method || before.SharedUncertainty > 0 && after.SharedUncertainty > 0
	c.test()
	return c
}

// boundOf is 1 where point i of c is at most its figure, -1 where at least, else 0.
func boundOf(c analysis.Curve, i int) int {
	switch {
	case i < len(c.UpperBound) && c.UpperBound[i]:
		return 1
	case i < len(c.LowerBound) && c.LowerBound[i]:
		return -1
	}
	return 0
}

// bandOctaves is the width over which a difference must hold.
const bandOctaves = 1.0 / 3

// bandMean is the mean difference in a third of an octave, with its standard
// uncertainties by itself and together with all others.
type bandMean struct{ hz, db, alone, alike float64 }

// bands looks at thirds of an octave, as a single point may be off by a tone
// that no other shows.
func (c *CurveChange) bands() []bandMean {
	var out []bandMean
	for low := lowestHz; low < highestHz; low *= math.Exp2(bandOctaves) {
		b, n, middle, variance := bandMean{}, 0.0, low*math.Exp2(bandOctaves/2), 0.0
		for i, f := range c.FrequencyHz {
			if f < low || f >= math.Min(low*math.Exp2(bandOctaves), highestHz) {
				continue
			}
			b.db, b.alike, n = b.db+c.Difference[i], b.alike+c.alike[i], n+1
			for j, g := range c.FrequencyHz {
				if g >= low && g < math.Min(low*math.Exp2(bandOctaves), highestHz) {
					variance += c.alone[i] * c.alone[j] * analysis.NoiseCorrelation(f, g)
				}
			}
			if b.hz == 0 || math.Abs(math.Log(f/middle)) < math.Abs(math.Log(b.hz/middle)) {
				b.hz = f
			}
		}
		if n > 0 && variance+b.alike > 0 {
			out = append(out, bandMean{b.hz, b.db / n, math.Sqrt(math.Max(0, variance)) / n, b.alike / n})
		}
	}
	return out
}

// test finds the worst band. A shift that all have alike does not average away:
// where there may be one it is tested by itself, and taken off the bands.
func (c *CurveChange) test() {
	bands := c.bands()
	tests, worst := len(bands), 0.0
	if level, ok := c.level(bands); ok {
		tests++
		worst, c.WorstHz = math.Abs(level.db)/math.Hypot(level.alone, level.alike), level.hz
		for i := range bands {
			b := &bands[i]
			// The band is part of that mean.
			b.db, b.alone, b.alike = b.db-level.db, math.Sqrt(math.Max(0, b.alone*b.alone-level.alone*level.alone)), 0
		}
	}
	for _, b := range bands {
		u := math.Hypot(b.alone, b.alike)
		if z := math.Abs(b.db) / u; u > 0 && z > worst {
			worst, c.WorstHz = z, b.hz
		}
	}
	c.P = math.Min(1, math.Erfc(worst/math.Sqrt2)*float64(tests))
}

// level is the mean of all bands, weighed by what each is uncertain by itself; ok
// is false where they cannot be off alike, or it is not known by how much.
func (c *CurveChange) level(bands []bandMean) (mean bandMean, ok bool) {
	weights := 0.0
	for _, b := range bands {
		if b.alone == 0 || b.alike == 0 || !c.parted {
			return bandMean{}, false
		}
		w := 1 / (b.alone * b.alone)
		mean.db, weights = mean.db+w*b.db, weights+w
		mean.alike = math.Max(mean.alike, b.alike)
	}
	if weights == 0 {
		return bandMean{}, false
	}
	return bandMean{middleHz, mean.db / weights, 1 / math.Sqrt(weights), mean.alike}, true
}

// pointStds are what point i of c is uncertain by and the other curve is not:
// by itself, and together with all points. Of a curve that does not say what they
// share it is all that is not noise. On one interface the gates are the same, so
// that two profiles have noise of their own and what moves all points.
func pointStds(c analysis.Curve, i int, ties Ties) (alone, alike float64) {
	noise, all := 0.0, 0.0
	if i < len(c.NoiseUncertainty) {
		noise = c.NoiseUncertainty[i] / analysis.CoverageK
	}
	if i < len(c.Uncertainty) {
		all = c.Uncertainty[i] / analysis.CoverageK
	}
	if ties.Profile && ties.Method && i < len(c.NoiseUncertainty) {
		return noise, 0
	}
	rest := func(part float64) float64 { return math.Sqrt(math.Max(0, all*all-part*part)) }
	if alike = math.Min(c.SharedUncertainty/analysis.CoverageK, all); alike == 0 {
		alike = rest(noise)
	} else if ties.Interface && ties.Method && i < len(c.LoopNoiseUncertainty) {
		return analysis.Hypot(noise, c.LoopNoiseUncertainty[i]/analysis.CoverageK), alike
	}
	return rest(alike), alike
}

// at returns the index of the point nearest to hz.
func (c CurveChange) at(hz float64) int { return analysis.NearestIndex(c.FrequencyHz, hz) }

// withinPlug takes the repeatability from the reading that goes with c.
func (c *CurveChange) withinPlug(rows []Row) {
	limit := 0.0
	for _, r := range rows {
		q := analysis.Gain
		if c.Quantity == analysis.SplitDifference {
			q = analysis.LevelMatch
		}
		if r.After.Quantity == q && r.After.Output == c.Output && r.After.Reference == c.Reference {
			limit = math.Max(limit, plugU(r.Before.Reading, r.After.Reading))
		}
	}
	c.WithinPlug = true
	for i, f := range c.FrequencyHz {
		if f >= lowestHz && f <= highestHz && math.Abs(c.Difference[i]) > limit {
			c.WithinPlug = false
		}
	}
}
