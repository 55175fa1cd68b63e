// Package bigstore makes a large store of an invented workshop, and times what
// people do with one. Every board, owner and figure in it is made up by a
// random number generator of a fixed seed; no signal is simulated.
package bigstore

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"time"

	"boardproof/cmd/trial/internal/trials"
	"boardproof/db"
)

// Program is 'trial bigstore'.
func Program() trials.Program {
	var path string
	var runs int
	return trials.Program{
		Name: "bigstore", Does: "make a large store of invented boards, and time what people do with one",
		Plan: trials.Plan{What: "boards", Trials: 5000, Seed: 1},
		Flags: func(f *flag.FlagSet) {
			f.StringVar(&path, "store", "", "the `file` of the store to make, or to time if it is there")
			f.IntVar(&runs, "runs", 50000, "how many runs")
		},
		Run: func(ctx context.Context, p trials.Plan) (trials.Figures, error) {
			return trials.Figures{}, work(ctx, p, path, runs)
		},
	}
}

func work(ctx context.Context, p trials.Plan, path string, runs int) (err error) {
	if path == "" || runs < 1 {
		return errors.New("name a -store, and at least one run")
	}
	_, missing := os.Stat(path)
	s, err := db.Open(ctx, path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if errors.Is(missing, os.ErrNotExist) {
		began := time.Now()
		if err := fill(ctx, s, p, runs); err != nil {
			return err
		}
		fmt.Fprintf(p.Out, "made %d boards and %d runs in %.1f s\n", p.Trials, runs, time.Since(began).Seconds())
	}
	return timeAll(ctx, s, p.Out)
}
