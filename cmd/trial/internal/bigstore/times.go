package bigstore

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/db"
)

// tries is how often each thing is timed.
const tries = 7

// timeAll prints how long the store takes for what people do, the median and
// the longest of some tries: the program's own time, and by the clock, which on
// a busy machine is longer.
func timeAll(ctx context.Context, s *db.Store, out io.Writer) error {
	all, err := s.FindBoards(ctx, db.BoardQuery{})
	if err != nil {
		return err
	}
	one := all[len(all)/2]
	find := func(q db.BoardQuery) func() (int, error) {
		return func() (int, error) {
			found, err := s.FindBoards(ctx, q)
			return len(found), err
		}
	}
	series := func(q db.SeriesQuery) func() (int, error) {
		return func() (int, error) {
			points, err := s.Series(ctx, q)
			return len(points), err
		}
	}
	for _, t := range []struct {
		what string
		do   func() (int, error)
	}{
		{"list every board with its latest verdict", find(db.BoardQuery{})},
		{"find by a part of a name", find(db.BoardQuery{Name: "ferry"})},
		{"find by owner", find(db.BoardQuery{Owner: "ida"})},
		{"find by serial", find(db.BoardQuery{Serial: "0042"})},
		{"find by device in the chain", find(db.BoardQuery{Device: "tremolo"})},
		{"find what failed", find(db.BoardQuery{Verdicts: []verdict.Outcome{verdict.Fail}})},
		{"find what was measured in the last 90 days", find(db.BoardQuery{From: time.Now().AddDate(0, 0, -90)})},
		{"open a board by its serial", func() (int, error) { b, err := s.FindBoard(ctx, one.Serial); return len(b.Chain), err }},
		{"open a board's life", func() (int, error) { l, err := s.Life(ctx, one.ID); return len(l.Runs), err }},
		{"read a trend of a board", series(db.SeriesQuery{BoardID: one.ID, Quantity: analysis.LevelMatch, Budget: true})},
		{"read a trend of a bench, latest 1,000 runs", series(db.SeriesQuery{Bench: benchName, Quantity: analysis.LevelMatch, Runs: 1000})},
		{"read a trend of a bench, all runs", series(db.SeriesQuery{Bench: benchName, Quantity: analysis.LevelMatch})},
	} {
		if err := timeOne(out, t.what, t.do); err != nil {
			return err
		}
	}
	return nil
}

func timeOne(out io.Writer, what string, do func() (int, error)) error {
	var took, own []time.Duration
	n := 0
	for range tries {
		began, spent := time.Now(), ownTime()
		var err error
		if n, err = do(); err != nil {
			return err
		}
		took, own = append(took, time.Since(began)), append(own, ownTime()-spent)
	}
	slices.Sort(took)
	slices.Sort(own)
	ms := func(d time.Duration) float64 { return d.Seconds() * 1000 }
	_, err := fmt.Fprintf(out, "%-46s %7.1f ms own (longest %7.1f), %7.1f ms by the clock, %d rows\n", what,
		ms(own[tries/2]), ms(own[tries-1]), ms(took[tries/2]), n)
	return err
}
