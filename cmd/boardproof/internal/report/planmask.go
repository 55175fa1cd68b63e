package report

import (
	"math"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// PlanMasks turns a plan's masks into what is drawn over curves. A mask that is
// relative to a frequency is moved to each curve's own level there.
func PlanMasks(masks []verdict.Mask, curves []analysis.Curve) []Mask {
	var drawn []Mask
	for _, m := range masks {
		if m.RelativeToHz == 0 {
			drawn = append(drawn, planMask(m, m.Output, 0))
			continue
		}
		for _, c := range curves {
			level, ok := levelNear(c, m.RelativeToHz)
			if ok && (m.Output == "" || m.Output == c.Output) {
				drawn = append(drawn, planMask(m, c.Output, level))
			}
		}
	}
	return drawn
}

func planMask(m verdict.Mask, output string, level float64) Mask {
	d := Mask{Output: output}
	for _, p := range m.Points {
		d.FrequencyHz = append(d.FrequencyHz, p.FrequencyHz)
		d.Min = append(d.Min, level+orNaN(p.Min))
		d.Max = append(d.Max, level+orNaN(p.Max))
	}
	return d
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// levelNear is the value at the point nearest in frequency: near enough for a
// drawing, the verdict reads between the points.
func levelNear(c analysis.Curve, frequencyHz float64) (level float64, ok bool) {
	nearest := math.Inf(1)
	for i := range min(len(c.FrequencyHz), len(c.Value)) {
		if d := math.Abs(c.FrequencyHz[i] - frequencyHz); d < nearest && finite(c.Value[i]) {
			level, nearest = c.Value[i], d
		}
	}
	return level, finite(nearest)
}
