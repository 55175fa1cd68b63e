package verdict

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"boardproof/analysis"
)

// At returns the limit of m at a frequency; ok is false outside its points.
func (m Mask) At(frequencyHz float64) (l Limit, ok bool) {
	i := sort.Search(len(m.Points), func(i int) bool { return m.Points[i].FrequencyHz >= frequencyHz })
	if i == len(m.Points) || i == 0 && m.Points[0].FrequencyHz != frequencyHz {
		return Limit{}, false
	}
	if i == 0 {
		return Limit{Min: m.Points[0].Min, Max: m.Points[0].Max}, true
	}
	a, b := m.Points[i-1], m.Points[i]
	share := logShare(a.FrequencyHz, b.FrequencyHz, frequencyHz)
	return Limit{Min: between(a.Min, b.Min, share), Max: between(a.Max, b.Max, share)}, true
}

func logShare(fromHz, toHz, atHz float64) float64 {
	return math.Log(atHz/fromHz) / math.Log(toHz/fromHz)
}

func between(a, b *float64, share float64) *float64 {
	if a == nil || b == nil {
		return nil
	}
	v := *a + share*(*b-*a)
	return &v
}

// worst judges every point of c under m and returns the one with the worst
// verdict, of equals the one with the least margin.
//
// Relative to a frequency, what the uncertainties there and at the point share
// cancels; the rest is combined as uncorrelated.
func (m Mask) worst(c analysis.Curve, rule Rule) (Judged, error) {
	if err := m.covers(c); err != nil {
		return Judged{}, err
	}
	offset, offsetU, note := 0.0, 0.0, "where the response does worst against the mask"
	if m.RelativeToHz > 0 {
		var err error
		if offset, offsetU, err = valueAt(c, m.RelativeToHz); err != nil {
			return Judged{}, err
		}
		note += fmt.Sprintf(", relative to %g Hz", m.RelativeToHz)
	}
	var worst Judged
	for i, f := range c.FrequencyHz {
		l, ok := m.At(f)
		if !ok {
			continue
		}
		value, u := c.Value[i]-offset, c.Uncertainty[i]
		if m.RelativeToHz > 0 {
			u = analysis.Hypot(own(u, c), own(offsetU, c))
		}
		if !finite(value) || !finite(u) {
			return Judged{}, fmt.Errorf("the response has no value at %.4g Hz", f)
		}
		verdict := Judge(value, u, false, l, rule)
		known := worst.Verdict != ""
		if known && (worse(worst.Verdict, verdict) != verdict ||
			verdict == worst.Verdict && Margin(value, l) >= Margin(worst.Value, *worst.Limit)) {
			continue
		}
		r := analysis.Reading{
			Quantity: analysis.Response, Output: c.Output, State: c.State, FrequencyHz: f,
			Value: value, Unit: c.Unit, Uncertainty: u, K: analysis.CoverageK, Note: note,
			Budget: m.budget(c, i, u),
		}
		worst = Judged{Reading: r, Limit: &l, Verdict: verdict, ChanceWrong: chanceWrong(verdict, r, l)}
	}
	if worst.Verdict == "" {
		return Judged{}, fmt.Errorf("the response has no point under the mask")
	}
	return worst, nil
}

// budget splits the expanded uncertainty u of point i of c into what the noise
// makes of it, there and where the mask is relative to, and the rest. It is nil
// where c does not say.
func (m Mask) budget(c analysis.Curve, i int, u float64) analysis.Budget {
	if len(c.NoiseUncertainty) != len(c.FrequencyHz) {
		return nil
	}
	noise := c.NoiseUncertainty[i]
	if m.RelativeToHz > 0 {
		noise = analysis.Hypot(noise, c.NoiseUncertainty[analysis.NearestIndex(c.FrequencyHz, m.RelativeToHz)])
	}
	noise = min(noise, u)
	return analysis.Budget{
		{Source: "noise recorded beside the signal", Kind: "A", Std: noise / analysis.CoverageK},
		{Source: "calibration, gate and loading together", Kind: "B", Std: math.Sqrt(u*u-noise*noise) / analysis.CoverageK},
	}
}

// own is the part of an expanded uncertainty that c's points do not share.
func own(u float64, c analysis.Curve) float64 {
	return math.Sqrt(max(0, u*u-c.SharedUncertainty*c.SharedUncertainty))
}

// covers checks that c can be judged from m's first point to its last.
func (m Mask) covers(c analysis.Curve) error {
	n := len(c.FrequencyHz)
	if n == 0 || len(c.Value) != n || len(c.Uncertainty) != n || !slices.IsSorted(c.FrequencyHz) {
		return fmt.Errorf("the response curve is not complete: %d frequencies, %d values, %d uncertainties",
			n, len(c.Value), len(c.Uncertainty))
	}
	low, high := m.Points[0].FrequencyHz, m.Points[len(m.Points)-1].FrequencyHz
	if c.FrequencyHz[0] > low || c.FrequencyHz[n-1] < high {
		return fmt.Errorf("the response is known from %.4g to %.4g Hz only, the mask asks for %g to %g Hz",
			c.FrequencyHz[0], c.FrequencyHz[n-1], low, high)
	}
	return nil
}

// valueAt reads c between its points, straight over the logarithm of
// frequency.
func valueAt(c analysis.Curve, frequencyHz float64) (value, expandedU float64, err error) {
	i := sort.SearchFloat64s(c.FrequencyHz, frequencyHz)
	if i == len(c.FrequencyHz) || i == 0 && c.FrequencyHz[0] != frequencyHz {
		return 0, 0, fmt.Errorf("the response is not known at %g Hz", frequencyHz)
	}
	if c.FrequencyHz[i] == frequencyHz {
		return c.Value[i], c.Uncertainty[i], nil
	}
	share := logShare(c.FrequencyHz[i-1], c.FrequencyHz[i], frequencyHz)
	value = c.Value[i-1] + share*(c.Value[i]-c.Value[i-1])
	return value, max(c.Uncertainty[i-1], c.Uncertainty[i]), nil
}
