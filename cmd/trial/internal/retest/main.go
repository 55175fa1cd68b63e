// Package retest measures random simulated boards twice, changes nothing on
// them in between, and counts how often the comparison of the two calls
// something changed. 'make retest' runs it.
//
// Half of the boards are measured under one profile both times, half under a
// new calibration the second time, with other errors, each drawn as it is
// stated (see randombench). A second sitting has other noise, and
// leads that lie otherwise: the bench's own hum lines have a new phase. Lines that
// a calibration could not see are there as it states them. The board is the same to
// the last figure, and the mains starts at the same frequency. Its own plugs do not
// scatter here, nor does temperature, as no budget has them.
//
// It takes hours on one core: --keep writes what was read, and of several seeds,
// measured in pieces, the files together are compared by naming them.
package retest

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"time"

	"boardproof/cmd/trial/internal/randombench"
	"boardproof/cmd/trial/internal/trials"
)

type plan struct {
	trials.Plan
	// sweepS, silenceS and toneS are how long the signals are, in seconds.
	sweepS, silenceS, toneS float64
	// keep, where not nil, takes what was read as it comes.
	keep io.Writer
}

// Program is 'trial retest'. Four boards share one interface; every second one
// is recalibrated.
func Program() trials.Program {
	var p plan
	var file string
	return trials.Program{
		Name: "retest", Does: "how often an unchanged board is called changed",
		Plan: trials.Plan{What: "boards", Trials: 1000, PerBatch: 4, Seed: 1},
		Args: "[FILE...]  measures boards twice and compares, or compares what -keep wrote, of as many seeds as there are files",
		Flags: func(f *flag.FlagSet) {
			f.Float64Var(&p.sweepS, "sweep", 2.5, "length of the sweeps in seconds")
			f.Float64Var(&p.silenceS, "silence", 4, "length of the silences in seconds")
			f.Float64Var(&p.toneS, "tone", 1.5, "length of the tones in seconds")
			f.StringVar(&file, "keep", "", "also write what was read to this `file`, a board a line: some 0.6 MB each")
		},
		Run: func(ctx context.Context, of trials.Plan) (trials.Figures, error) {
			p.Plan = of
			return p.run(ctx, file)
		},
	}
}

// run measures by plan and keeps what was read in file, or, where files are
// named, reads those. Then it compares.
func (p plan) run(ctx context.Context, file string) (trials.Figures, error) {
	if len(p.Args) > 0 {
		t := newTally()
		if err := readKept(p.Args, t.add); err != nil {
			return trials.Figures{}, err
		}
		fmt.Fprintf(p.Out, "%d SIMULATED boards, each measured twice, %d to a bench, from %s\n\n", t.boards.both().tests, p.PerBatch, strings.Join(p.Args, ", "))
		return t.report(p.Out, "kept")
	}
	if file != "" {
		f, err := os.Create(file)
		if err != nil {
			return trials.Figures{}, fmt.Errorf("keeping what was read: %w", err)
		}
		defer f.Close() //nolint:errcheck // each write was checked
		p.keep = f
	}
	t, started := newTally(), time.Now()
	all, err := p.measure(ctx)
	if err != nil {
		return trials.Figures{}, err
	}
	for _, s := range all {
		t.add(s)
	}
	fmt.Fprintf(p.Out, "%d of %d SIMULATED boards, each measured twice, %d to a bench, seed %d, in %s\n\n",
		t.boards.both().tests, p.Trials, p.PerBatch, p.Seed, time.Since(started).Round(time.Second))
	return t.report(p.Out, fmt.Sprintf("seed %d", p.Seed))
}

// measure returns what was seen of each board, nothing of those whose takes
// were refused or that were not reached when ctx ended.
func (p plan) measure(ctx context.Context) ([]sittings, error) {
	var mu sync.Mutex
	return randombench.Trials(ctx, p.Plan, p.sweepS, p.silenceS, func(number int, b *randombench.Bench, rng *rand.Rand) (func(int) (sittings, error), error) {
		later, err := b.Again(rng, p.sweepS, p.silenceS)
		if err != nil {
			return nil, fmt.Errorf("calibrated again: %w", err)
		}
		return func(i int) (sittings, error) {
			s, err := p.retest(rng, b, later, i%2 == 1)
			if err != nil {
				return sittings{}, err
			}
			s.Seed, s.Bench, s.Board, s.Recalibrated = p.Seed, number, i+1, i%2 == 1
			if p.keep == nil {
				return s, nil
			}
			mu.Lock()
			defer mu.Unlock()
			return s, keep(p.keep, s)
		}, nil
	})
}
