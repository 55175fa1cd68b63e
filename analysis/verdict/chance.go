package verdict

import (
	"math"

	"boardproof/analysis"
)

// chanceWrong is the chance that a conditional outcome is wrong, nil for any
// other. The true value is taken as normally distributed about value with
// half of expandedU, its k being 2, as standard uncertainty: JCGM 106:2012,
// 7.2 to 7.4 (clauses from memory); ILAC-G8:09/2019 gives it as the specific
// risk.
func chanceWrong(o Outcome, value, expandedU float64, l Limit) *float64 {
	if o != ConditionalPass && o != ConditionalFail {
		return nil
	}
	std := expandedU / analysis.CoverageK
	outside := 0.0
	if l.Max != nil {
		outside += above(*l.Max-value, std)
	}
	if l.Min != nil {
		outside += above(value-*l.Min, std)
	}
	if o == ConditionalFail {
		outside = 1 - outside
	}
	return &outside
}

// above is the chance that a normal deviation of standard uncertainty std
// exceeds d. A deviation without uncertainty does so where d is below zero.
func above(d, std float64) float64 {
	if std == 0 {
		if d < 0 {
			return 1
		}
		return 0
	}
	return math.Erfc(d/std/math.Sqrt2) / 2
}

// Settle says how many takes beside the taken would make the uncertainty of j,
// whose verdict is conditional, no more than its distance from the limit:
// what was read from the noise falls as the square root of their number, the
// rest stays. ok is false where no number of takes does, or where what j's
// uncertainty consists of is not known.
func Settle(j Judged, taken int) (more int, ok bool) {
	if j.Limit == nil || len(j.Budget) == 0 || taken < 1 {
		return 0, false
	}
	var a, b float64
	for _, c := range j.Budget {
		if c.Kind == "A" {
			a += c.Std * c.Std
		} else {
			b += c.Std * c.Std
		}
	}
	needed := Margin(j.Value, *j.Limit) / analysis.CoverageK
	left := needed*needed - b
	if !(left > 0) {
		return 0, false
	}
	takes := math.Ceil(float64(taken) * a / left)
	if takes > math.MaxInt32 {
		return 0, false
	}
	return max(1, int(takes)-taken), true
}
