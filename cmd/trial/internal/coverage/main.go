// Package coverage measures random simulated boards on random simulated
// benches, each through a calibration of its own, and counts how often the
// truth lies in the interval that was stated. 'make coverage' runs it.
//
// What is stated without having been seen to scatter (the meter's accuracy, how
// the loopback lead repeats, its delay, the loading of the output, the
// interface's clock, the input's share of the response, what a weighting is
// meant to be) is drawn from the distribution that is stated, for each board or
// for each bench. A bench, its converters and the noise of its calibration, is
// shared by four boards.
package coverage

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"time"

	"boardproof/cmd/trial/internal/randombench"
	"boardproof/cmd/trial/internal/trials"
)

// plan is what a run of the program consists of.
type plan struct {
	trials.Plan
	// sweepS and silenceS are how long the signals are, in seconds.
	sweepS, silenceS float64
}

// Program is 'trial coverage'. Four boards share one interface and the
// recordings of its calibration.
func Program() trials.Program {
	var p plan
	var limit bool
	return trials.Program{
		Name: "coverage", Does: "how often the stated interval holds the truth",
		Plan: trials.Plan{What: "boards", Trials: 2000, PerBatch: 4, Seed: 1},
		Flags: func(f *flag.FlagSet) {
			f.Float64Var(&p.sweepS, "sweep", 2.5, "length of the sweeps in seconds")
			f.Float64Var(&p.silenceS, "silence", 4, "length of the silences in seconds")
			f.BoolVar(&limit, "limit", false, "show only how readings are judged against a limit set at their truth")
		},
		Run: func(ctx context.Context, of trials.Plan) (trials.Figures, error) {
			p.Plan = of
			return p.run(ctx, limit)
		},
	}
}

func (p plan) run(ctx context.Context, limit bool) (trials.Figures, error) {
	started := time.Now()
	all, err := p.measure(ctx)
	if err != nil {
		return trials.Figures{}, err
	}
	t := tallies{}
	measured := 0
	for i, board := range all {
		t.add(i, board)
		if len(board) > 0 {
			measured++
		}
	}
	fmt.Fprintf(p.Out, "%d of %d boards, %d to a bench, in %s\n\n", measured, p.Trials, p.PerBatch, time.Since(started).Round(time.Second))
	if !limit {
		t.print(p.Out)
		fmt.Fprintln(p.Out)
	}
	printOutcomes(p.Out, judge(all))
	if limit || measured == 0 {
		return trials.Figures{}, nil
	}
	found := trials.Figures{Of: fmt.Sprintf("%d boards, seed %d", measured, p.Seed), Found: t.inShort()}
	if bad := t.outside(0.935, 0.965); len(bad) > 0 {
		err = fmt.Errorf("outside 93.5 to 96.5 %%: %q", bad)
	}
	return found, err
}

// measure returns what was seen of each board, nothing of those whose takes
// were refused or that were not reached when ctx ended.
func (p plan) measure(ctx context.Context) ([][]seen, error) {
	return randombench.Trials(ctx, p.Plan, p.sweepS, p.silenceS, func(_ int, b *randombench.Bench, rng *rand.Rand) (func(int) ([]seen, error), error) {
		return func(int) ([]seen, error) { return measureBoard(b, rng, p) }, nil
	})
}
