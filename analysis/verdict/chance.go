package verdict

import (
	"math"
	"sort"

	"boardproof/analysis"
)

// chanceWrong is the chance that a conditional outcome of r is wrong, nil for
// any other outcome: JCGM 106:2012, 7.2 to 7.4 (clauses from memory); the
// specific risk of ILAC-G8:09/2019. The true value is taken as distributed
// about the reading as its budget says, which is normally but where one evenly
// spread contribution outweighs the rest; without a budget normally, with half
// of the expanded uncertainty, its k being 2, as standard uncertainty.
func chanceWrong(o Outcome, r analysis.Reading, l Limit) *float64 {
	if o != ConditionalPass && o != ConditionalFail {
		return nil
	}
	b := r.Budget
	if len(b) == 0 {
		b = analysis.Budget{{Std: r.Uncertainty / analysis.CoverageK}}
	}
	outside := 0.0
	if l.Max != nil {
		outside += b.Beyond(*l.Max - r.Value)
	}
	if l.Min != nil {
		outside += b.Beyond(r.Value - *l.Min)
	}
	if o == ConditionalFail {
		outside = 1 - outside
	}
	return &outside
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
	needed := math.Abs(Margin(j.Value, *j.Limit))
	enough := func(takes int) bool { return averaged(j.Budget, float64(taken)/float64(takes)).Expanded() <= needed }
	if !enough(mostTakes) {
		return 0, false
	}
	return max(1, sort.Search(mostTakes, func(n int) bool { return n > taken && enough(n) })-taken), true
}

// mostTakes is more than anybody has time for.
const mostTakes = 1_000_000

// averaged is b with the variance of what was read from the noise times share.
func averaged(b analysis.Budget, share float64) analysis.Budget {
	out := make(analysis.Budget, len(b))
	for i, c := range b {
		if c.Kind == "A" {
			c.Std *= math.Sqrt(share)
		}
		out[i] = c
	}
	return out
}
