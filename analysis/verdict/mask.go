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

// worst judges c under m, between its points too where it has a fine grid and at the
// points of the mask, and returns where it has the worst verdict, of equals the
// least margin. Of many that are equal but for noise the worst is too bad a figure:
// what that makes is taken off and is in the uncertainty ([analysis.LargestOf]).
//
// Relative to a frequency, what the uncertainties there and at the point share
// cancels; the rest is combined as uncorrelated.
func (m Mask) worst(c analysis.Curve, rule Rule) (Judged, error) {
	if err := m.covers(c); err != nil {
		return Judged{}, err
	}
	ref := reference{}
	note := "where the response does worst against the mask"
	if m.RelativeToHz > 0 {
		var err error
		if ref.value, ref.expandedU, err = valueAt(c, m.RelativeToHz); err != nil {
			return Judged{}, err
		}
		if i := analysis.NearestIndex(c.FrequencyHz, m.RelativeToHz); len(c.NoiseUncertainty) == len(c.FrequencyHz) {
			ref.noiseU = c.NoiseUncertainty[i]
		}
		if i := analysis.NearestIndex(c.FrequencyHz, m.RelativeToHz); i < len(c.UpperBound) && c.UpperBound[i] {
			return Judged{}, fmt.Errorf("the response at %g Hz, to which the mask is relative, is under the noise", m.RelativeToHz)
		}
		note += fmt.Sprintf(", relative to %g Hz", m.RelativeToHz)
	}
	points, err := m.points(c, ref)
	if err != nil {
		return Judged{}, err
	}
	at, beyond, std := -1, make([]float64, len(points)), make([]float64, len(points))
	hz := make([]float64, len(points))
	for i, p := range points {
		hz[i], beyond[i], std[i] = p.hz, -Margin(p.value, p.limit), p.noiseU/analysis.CoverageK
		p.verdict = p.judge(p.value, p.u, rule)
		points[i] = p
		if at >= 0 && (worse(points[at].verdict, p.verdict) != p.verdict ||
			p.verdict == points[at].verdict && beyond[i] <= beyond[at]) {
			continue
		}
		at = i
	}
	if at < 0 || points[at].verdict == "" {
		return Judged{}, fmt.Errorf("the response has no point under the mask")
	}
	p := points[at]
	r := analysis.Reading{
		Quantity: analysis.Response, Output: c.Output, State: c.State, FrequencyHz: p.hz,
		Value: p.value, Unit: c.Unit, Uncertainty: p.u, K: analysis.CoverageK, Note: note, Budget: p.budget(), UpperBound: p.bound,
	}
	if p.bound {
		r.Note += "; there it is under the noise: only a bound is known"
	}
	if x := analysis.LargestOf(hz, beyond, std); !p.bound && x.Index == at && x.Excess.Std > 0 {
		r = p.without(x.Excess, r)
		p.verdict = p.judge(r.Value, r.Uncertainty, rule)
	}
	return Judged{Reading: r, Limit: &p.limit, Verdict: p.verdict, ChanceWrong: chanceWrong(p.verdict, r, p.limit)}, nil
}

// reference is what a mask is relative to: a value of the curve, its expanded
// uncertainty and what noise makes of that.
type reference struct{ value, expandedU, noiseU float64 }

// judgedPoint is one frequency under a mask.
type judgedPoint struct {
	hz, value, u float64
	// noiseU is what noise makes of u, below zero where that is not known.
	noiseU float64
	// bound: it is no more than value.
	bound   bool
	limit   Limit
	verdict Outcome
}

// judge holds value in the place of p's.
func (p judgedPoint) judge(value, u float64, rule Rule) Outcome {
	return Judge(value, u, p.bound, p.limit, rule)
}

// points are all points of c under m, those of m among them.
func (m Mask) points(c analysis.Curve, ref reference) ([]judgedPoint, error) {
	var all []judgedPoint
	for k := 1; k < len(m.Points); k++ {
		var part analysis.Curve
		low, high := m.Points[k-1].FrequencyHz, m.Points[k].FrequencyHz
		if c.Fine != nil {
			part = c.Fine(low, high)
		} else {
			part = under(c, low, high)
		}
		for i, f := range part.FrequencyHz {
			l, ok := m.At(f)
			if !ok {
				continue
			}
			p := judgedPoint{hz: f, value: part.Value[i] - ref.value, u: part.Uncertainty[i], noiseU: -1, limit: l, bound: i < len(part.UpperBound) && part.UpperBound[i]}
			if len(part.NoiseUncertainty) == len(part.FrequencyHz) {
				p.noiseU = part.NoiseUncertainty[i]
			}
			if m.RelativeToHz > 0 && p.bound {
				p.value += own(ref.expandedU, c)
			} else if m.RelativeToHz > 0 {
				p.u = analysis.Hypot(own(p.u, c), own(ref.expandedU, c))
				if p.noiseU >= 0 {
					p.noiseU = analysis.Hypot(p.noiseU, ref.noiseU)
				}
			}
			if !finite(p.value) || !finite(p.u) {
				return nil, fmt.Errorf("the response has no value at %.4g Hz", f)
			}
			all = append(all, p)
		}
	}
	return all, nil
}

// without takes off r, the reading at p, what its being the worst of many makes it
// too bad by.
func (p judgedPoint) without(excess analysis.Estimate, r analysis.Reading) analysis.Reading {
	inside := excess.Value
	if p.limit.Max != nil && (p.limit.Min == nil || *p.limit.Max-p.value < p.value-*p.limit.Min) {
		inside = -inside
	}
	r.Value += inside
	r.Budget = append(r.Budget, analysis.Contribution{Source: "which of several is the extreme", Kind: "B", Std: excess.Std, Rectangular: true})
	r.Uncertainty = analysis.Hypot(r.Uncertainty, math.Sqrt(3)*excess.Std)
	return r
}

// budget splits the expanded uncertainty of p into what the noise makes of it, there
// and where the mask is relative to, and the rest. It is nil where the curve does
// not say.
func (p judgedPoint) budget() analysis.Budget {
	if p.noiseU < 0 || p.bound {
		return nil
	}
	noise := min(p.noiseU, p.u)
	return analysis.Budget{
		{Source: "noise recorded beside the signal", Kind: "A", Std: noise / analysis.CoverageK},
		{Source: "calibration, gate and loading together", Kind: "B", Std: math.Sqrt(p.u*p.u-noise*noise) / analysis.CoverageK},
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

// under is c from lowHz to highHz, both included, read straight between its points.
func under(c analysis.Curve, lowHz, highHz float64) analysis.Curve {
	var out analysis.Curve
	noise, bounds := len(c.NoiseUncertainty) == len(c.FrequencyHz), len(c.UpperBound) == len(c.FrequencyHz)
	add := func(f, value, u float64) {
		if bounds {
			out.UpperBound = append(out.UpperBound, c.UpperBound[analysis.NearestIndex(c.FrequencyHz, f)])
		}
		out.FrequencyHz, out.Value, out.Uncertainty = append(out.FrequencyHz, f), append(out.Value, value), append(out.Uncertainty, u)
		if noise {
			out.NoiseUncertainty = append(out.NoiseUncertainty, c.NoiseUncertainty[analysis.NearestIndex(c.FrequencyHz, f)])
		}
	}
	end := func(f float64) {
		if value, u, err := valueAt(c, f); err == nil {
			add(f, value, u)
		}
	}
	end(lowHz)
	for i, f := range c.FrequencyHz {
		if f > lowHz && f < highHz {
			add(f, c.Value[i], c.Uncertainty[i])
		}
	}
	end(highHz)
	return out
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
