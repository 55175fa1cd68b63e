package verdict

import (
	"math"
	"slices"

	"boardproof/analysis"
)

// Rule names how uncertainty is taken into account.
type Rule string

// The rules. Guarded is the default: guard band w equal to the expanded
// uncertainty U, four outcomes. Simple looks at the value alone: pass or fail.
const (
	Guarded Rule = "guarded"
	Simple  Rule = "simple"
)

// Judge holds value, whose expanded uncertainty (k = 2) is expandedU in the
// same unit, against l.
//
// Under Guarded, for an upper limit TL and w = expandedU: pass where
// value ≤ TL−w; conditional pass to TL; conditional fail to TL+w; fail beyond;
// a lower limit is the mirror image (ILAC-G8:09/2019, 4.2.3; JCGM 106:2012).
// With both limits the worse of the two sides counts, so where U is more than
// half of the tolerance no value can pass without condition.
//
// An upperBound says only that the true figure is not above value: it passes
// an upper limit it does not exceed, fails a lower limit it is under, and
// otherwise cannot be told, which is NotMeasured. So is a value or an
// uncertainty that is not a finite number, or an uncertainty below zero.
// A limit without sides gives "": nothing to judge.
func Judge(value, expandedU float64, upperBound bool, l Limit, rule Rule) Outcome {
	if l.Min == nil && l.Max == nil {
		return ""
	}
	if !finite(value) || !finite(expandedU) || expandedU < 0 {
		return NotMeasured
	}
	if upperBound {
		return judgeBound(value, l)
	}
	w := expandedU
	if rule == Simple {
		w = 0
	}
	worst := Pass
	if l.Max != nil {
		worst = worse(worst, judgeSide(*l.Max-value, w))
	}
	if l.Min != nil {
		worst = worse(worst, judgeSide(value-*l.Min, w))
	}
	return worst
}

// judgeSide judges a distance inside one limit against a guard band.
func judgeSide(inside, w float64) Outcome {
	switch {
	case inside >= w:
		return Pass
	case inside >= 0:
		return ConditionalPass
	case inside >= -w:
		return ConditionalFail
	}
	return Fail
}

func judgeBound(value float64, l Limit) Outcome {
	if l.Min != nil && value < *l.Min {
		return Fail
	}
	if l.Min != nil || value > *l.Max {
		return NotMeasured
	}
	return Pass
}

// Margin is the signed distance from value to the nearest limit, in their
// unit: above zero inside, below zero outside. It is NaN for a limit without
// sides.
func Margin(value float64, l Limit) float64 {
	margin := math.NaN()
	if l.Max != nil {
		margin = *l.Max - value
	}
	if l.Min != nil && !(value-*l.Min > margin) {
		margin = value - *l.Min
	}
	return margin
}

// ranked is from best to worst. A limit that was certainly or probably
// broken outranks one that could not be told.
var ranked = []Outcome{Pass, ConditionalPass, NotMeasured, ConditionalFail, Fail}

func worse(a, b Outcome) Outcome {
	if slices.Index(ranked, b) > slices.Index(ranked, a) {
		return b
	}
	return a
}

// Overall is the worst verdict among judged, readings without a limit left
// aside. Where nothing at all was judged it is NotMeasured: a run that
// measured nothing has not passed.
func Overall(judged []Judged) Outcome {
	worst := Outcome("")
	for _, j := range judged {
		if j.Verdict != "" {
			worst = worse(worst, j.Verdict)
		}
	}
	if worst == "" {
		return NotMeasured
	}
	return worst
}

// Passed says whether o counts as passed: pass and conditional pass do.
func (o Outcome) Passed() bool { return o == Pass || o == ConditionalPass }

// Failed says whether o counts as a failed limit: fail and conditional fail do.
func (o Outcome) Failed() bool { return o == Fail || o == ConditionalFail }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// setByBench lists the quantities to which the bench can only add: there a
// floor-limited figure above its limit says nothing about the board.
var setByBench = []string{
	analysis.Noise, analysis.Hiss, analysis.Hum, analysis.HumHarmonic,
	analysis.OtherTone, analysis.THD, analysis.THDN,
}

// judgeReading is Judge for a whole reading, with a note where the verdict
// needs one.
func judgeReading(r analysis.Reading, l Limit, rule Rule) (o Outcome, note string) {
	if r.LowerBound {
		o = Judge(-r.Value, r.Uncertainty, true, mirrored(l), rule)
	} else {
		o = Judge(r.Value, r.Uncertainty, r.UpperBound, l, rule)
	}
	switch {
	case o == NotMeasured && (r.UpperBound || r.LowerBound):
		return o, "only a bound is known, and it does not tell on which side of the limit the figure is"
	case o.Failed() && r.FloorLimited && slices.Contains(setByBench, r.Quantity):
		return NotMeasured, "the bench itself sets this figure, so the board cannot be judged by it"
	case o == ConditionalPass && rule != Simple && tooWide(r.Uncertainty, l):
		return o, "the uncertainty is more than half of what the limits allow: no figure could pass clearly"
	}
	return o, ""
}

func mirrored(l Limit) Limit {
	var m Limit
	if l.Min != nil {
		top := -*l.Min
		m.Max = &top
	}
	if l.Max != nil {
		bottom := -*l.Max
		m.Min = &bottom
	}
	return m
}

// tooWide is a measurement capability index below one: JCGM 106:2012, 7.6
// (clause from memory).
func tooWide(expandedU float64, l Limit) bool {
	return l.Min != nil && l.Max != nil && 2*expandedU > *l.Max-*l.Min
}
