package workshop

import (
	"fmt"
	"math"
	"slices"

	"boardproof/analysis/verdict"
	"boardproof/db"
	"boardproof/testsignals"
)

// Settled returns the run's readings, those with a conditional verdict with
// what would settle it.
func Settled(run db.Run, plan verdict.Plan) []verdict.Judged {
	rows := slices.Clone(run.Readings)
	for i, j := range rows {
		if j.ChanceWrong == nil {
			continue
		}
		at := slices.IndexFunc(plan.Steps, func(s verdict.Step) bool { return s.Name == j.Step })
		if at >= 0 {
			rows[i].Settles = settles(j, plan.Steps[at].ReadFrom(j.Quantity), run.Takes)
		}
	}
	return rows
}

// settles says how many more takes of the kinds of signal that j is read from
// would do, "" where it cannot be told.
func settles(j verdict.Judged, kinds []testsignals.Kind, takes []db.TakeRef) string {
	taken, seconds := 0, 0.0
	for _, kind := range kinds {
		n := 0
		for _, t := range takes {
			if t.Step == j.Step && t.LeftOut == "" && t.Take.Signal.Kind == kind {
				if n++; n == 1 {
					seconds += float64(testsignals.LayoutOf(t.Take.Signal).Frames) / float64(t.Take.RateHz)
				}
			}
		}
		taken = max(taken, n)
	}
	if taken == 0 || len(j.Budget) == 0 {
		return ""
	}
	more, ok := verdict.Settle(j, taken)
	if !ok {
		return "no repetition settles it: the bench's own share of the uncertainty is more than the margin"
	}
	return fmt.Sprintf("%s (%s) would settle it", moreOf(more, kinds), lasting(float64(more)*seconds))
}

func moreOf(n int, kinds []testsignals.Kind) string {
	what := "take of each signal"
	if len(kinds) == 1 {
		what = string(kinds[0])
	}
	if n == 1 {
		return "1 more " + what
	}
	if len(kinds) == 1 {
		return fmt.Sprintf("%d more %ss", n, what)
	}
	return fmt.Sprintf("%d more takes of each signal", n)
}

// lasting words a time that somebody has to wait.
func lasting(seconds float64) string {
	switch {
	case seconds < 100:
		return fmt.Sprintf("%.0f s", math.Ceil(seconds))
	case seconds < 100*60:
		return fmt.Sprintf("%.0f min", math.Ceil(seconds/60))
	}
	return fmt.Sprintf("%.0f h", math.Ceil(seconds/3600))
}
