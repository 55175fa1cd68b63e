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
	// WorstHz is the middle of the third of an octave in which the difference is
	// largest in terms of its uncertainty.
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
		u := analysis.CoverageK * analysis.Hypot(pointStd(before, j, ties), pointStd(after, i, ties), extra)
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Before, c.After = append(c.Before, before.Value[j]), append(c.After, after.Value[i])
		c.Difference, c.Uncertainty = append(c.Difference, d), append(c.Uncertainty, u)
	}
	c.test()
	return c
}

// bandOctaves is the width over which a difference must hold.
const bandOctaves = 1.0 / 3

// test looks at the mean difference in each third of an octave. Its uncertainty
// is taken as that of one point, as if all points of a band were off alike: at
// low frequencies they are, elsewhere that is on the safe side. A single point
// may be off by what is left of a hum line, which the uncertainty of a
// response, smoothed over such bands, does not show.
func (c *CurveChange) test() {
	worst, bands := 0.0, 0
	for low := lowestHz; low < highestHz; low *= math.Exp2(bandOctaves) {
		d, u, n, at := 0.0, 0.0, 0.0, 0.0
		for i, f := range c.FrequencyHz {
			if f < low || f >= math.Min(low*math.Exp2(bandOctaves), highestHz) {
				continue
			}
			d, u, n = d+c.Difference[i], u+c.Uncertainty[i], n+1
			if at == 0 || math.Abs(math.Log(f/low)-math.Ln2*bandOctaves/2) < math.Abs(math.Log(at/low)-math.Ln2*bandOctaves/2) {
				at = f
			}
		}
		if n == 0 || u == 0 {
			continue
		}
		bands++
		if z := math.Abs(d) / u * analysis.CoverageK; z > worst {
			worst, c.WorstHz = z, at
		}
	}
	c.P = math.Min(1, math.Erfc(worst/math.Sqrt2)*float64(bands))
}

// pointStd is what point i of c is uncertain by and the other curve is not.
func pointStd(c analysis.Curve, i int, ties Ties) float64 {
	switch {
	case ties.Profile && ties.Method && i < len(c.NoiseUncertainty):
		return c.NoiseUncertainty[i] / analysis.CoverageK
	case i < len(c.Uncertainty):
		return c.Uncertainty[i] / analysis.CoverageK
	}
	return 0
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
