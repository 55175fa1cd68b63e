package change

import (
	"math"
	"slices"

	"boardproof/analysis"
)

// ofTheBoard is false for what the mains, the bench or the recorder does.
func ofTheBoard(quantity string) bool {
	switch quantity {
	case analysis.MainsFrequency, analysis.BenchGainDrift, analysis.ClockError:
		return false
	}
	return true
}

// untested is true of what differs between two takes by more than their
// budgets can hold: see the comment of the package.
func untested(before, after analysis.Reading) bool {
	holdsFloor := func(r analysis.Reading) bool {
		return slices.ContainsFunc(r.Budget, func(c analysis.Contribution) bool { return c.Source == sourceFloor })
	}
	switch after.Quantity {
	case analysis.OtherTone:
		return true
	case analysis.THDN:
		return !holdsFloor(before) || !holdsFloor(after)
	}
	return false
}

// test finds P, or why there is none. A bound says on which side the truth
// is: from two that point apart, or one and a figure, a least difference follows.
func (r *Row) test() {
	atLeast := !r.Before.LowerBound && !r.After.UpperBound
	atMost := !r.Before.UpperBound && !r.After.LowerBound
	switch {
	case atLeast && atMost:
	case atLeast && r.Difference > 0:
		r.Bound = "at least"
	case atMost && r.Difference < 0:
		r.Bound = "at most"
	default:
		r.Outcome = CannotTell
		return
	}
	if r.Uncertainty == 0 && r.Difference != 0 {
		r.Outcome = CannotTell
		return
	}
	if r.Uncertainty > 0 {
		r.P = new(chance(r.tested()))
	}
}

// tested is the difference that the test looks at, and what it is uncertain by.
// Noise and the bench's own lines add to the volts of a line, not to its decibels,
// which of a weak one are far from normal: so it is that of the volts, in a unit of
// which one is a decibel where both are alike. What goes with the level, as a
// meter's error, stays.
func (r Row) tested() (analysis.Budget, float64) {
	if q := r.After.Quantity; q != analysis.HumHarmonic && q != analysis.Hum {
		return r.Budget, r.Difference
	}
	now := math.Pow(10, r.Difference/40)
	var b analysis.Budget
	for _, c := range r.Budget {
		switch c.Source {
		case sourceScatter + sideNow, sourceFloor + sideNow, sourceLine + sideNow:
			c.Std *= now
		case sourceScatter + sideThen, sourceFloor + sideThen, sourceLine + sideThen:
			c.Std /= now
		}
		b = append(b, c)
	}
	return b, analysis.DBFromRelative(now - 1/now)
}

// judge takes all tests together.
func (c *Comparison) judge() {
	var p []float64
	var to []func(together float64)
	outcome := func(alone, together float64) Outcome {
		switch {
		case together <= BoardAlpha:
			return Real
		case alone <= Alpha:
			return Maybe
		}
		return Unchanged
	}
	for i := range c.Rows {
		if r := &c.Rows[i]; r.P != nil {
			p = append(p, *r.P)
			to = append(to, func(together float64) { r.PTogether, r.Outcome = &together, outcome(*r.P, together) })
		}
	}
	for i := range c.Curves {
		k := &c.Curves[i]
		p = append(p, k.P)
		to = append(to, func(together float64) { k.PTogether, k.Outcome = together, outcome(k.P, together) })
	}
	for i, together := range holm(p) {
		to[i](together)
	}
	c.Tests = len(p)
}
