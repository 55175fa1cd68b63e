package retest

import (
	"math"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
)

// shiftStd is by how many standard uncertainties of its difference each later
// reading is moved, to see how often that is found: in 85.1 % where
// the difference is normal (Φ(3 − 1.96)), more often where an evenly spread part outweighs
// the rest.
const shiftStd = 3.0

// shifted compares rows once more with each later reading moved up. A reading is
// a sum, in volts for a line of hum: what adds to it in the same way stays as large as it was.
func shifted(rows []change.Row, ties change.Ties) []change.Row {
	var before, after change.Side
	for _, r := range rows {
		if r.P == nil || r.Bound != "" {
			continue
		}
		before.Readings, after.Readings = append(before.Readings, r.Before), append(after.Readings, moved(r.After, shiftStd*r.Budget.Std()))
	}
	return change.Compare(before, after, ties).Rows
}

// moved is j with its value up by so much of its unit. Of a line in decibels that
// is taken as a share of its volts.
func moved(j verdict.Judged, by float64) verdict.Judged {
	if j.Quantity != analysis.HumHarmonic && j.Quantity != analysis.Hum {
		j.Value += by
		return j
	}
	times := 1 + by/analysis.DBFromRelative(1)
	j.Value += analysis.DB(times)
	budget := j.Budget
	j.Budget = nil
	for _, c := range budget {
		if c.Source == "scatter of the noise itself" || c.Source == "what the bench itself adds" {
			c.Std /= times
		}
		j.Budget = append(j.Budget, c)
	}
	if math.IsInf(j.Value, 0) || math.IsNaN(j.Value) {
		return verdict.Judged{}
	}
	return j
}
