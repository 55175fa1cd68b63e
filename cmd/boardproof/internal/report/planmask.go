package report

import (
	"fmt"
	"math"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// MaskSet is masks that belong in one plot.
type MaskSet struct {
	// RelativeToHz is where the response counts as 0 dB, 0 for the gain itself.
	RelativeToHz float64
	Masks        []Mask
}

// PlanMasks turns a plan's masks into what is drawn, one set for each frequency
// that they are relative to: over a gain that is not shifted, the mask of one
// output would lie across another output's curve.
func PlanMasks(masks []verdict.Mask) []MaskSet {
	var sets []MaskSet
	for _, m := range masks {
		i := 0
		for i < len(sets) && sets[i].RelativeToHz != m.RelativeToHz {
			i++
		}
		if i == len(sets) {
			sets = append(sets, MaskSet{RelativeToHz: m.RelativeToHz})
		}
		sets[i].Masks = append(sets[i].Masks, planMask(m))
	}
	return sets
}

func planMask(m verdict.Mask) Mask {
	d := Mask{Output: m.Output}
	for _, p := range m.Points {
		d.FrequencyHz = append(d.FrequencyHz, p.FrequencyHz)
		d.Min = append(d.Min, orNaN(p.Min))
		d.Max = append(d.Max, orNaN(p.Max))
	}
	return d
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// relative shifts curves to 0 dB at a frequency and returns the levels that
// were taken off.
func relative(curves []analysis.Curve, frequencyHz float64) (shifted []analysis.Curve, taken []float64, err error) {
	for _, c := range curves {
		level, ok := levelNear(c, frequencyHz)
		if !ok {
			return nil, nil, fmt.Errorf("the curve of %s is not known at %s", outputName(c), hertz(frequencyHz))
		}
		values := make([]float64, len(c.Value))
		for i, v := range c.Value {
			values[i] = v - level
		}
		c.Value, c.Uncertainty = values, unshared(c)
		shifted, taken = append(shifted, c), append(taken, level)
	}
	return shifted, taken, nil
}

// unshared is the uncertainty of c without the part that cancels between two
// of its points.
func unshared(c analysis.Curve) []float64 {
	var own []float64
	for _, u := range c.Uncertainty {
		own = append(own, math.Sqrt(max(0, u*u-c.SharedUncertainty*c.SharedUncertainty)))
	}
	return own
}

// levelNear is the value at the point nearest in frequency, within 5 %: near
// enough for a drawing; the verdict reads between the points.
func levelNear(c analysis.Curve, frequencyHz float64) (level float64, ok bool) {
	nearest := 0.05 * frequencyHz
	for i := range min(len(c.FrequencyHz), len(c.Value)) {
		if d := math.Abs(c.FrequencyHz[i] - frequencyHz); d <= nearest && finite(c.Value[i]) {
			level, nearest, ok = c.Value[i], d, true
		}
	}
	return level, ok
}
