// Package hunts hunts the hum of random simulated boards, each with one
// cause, two or none, as the tool does that follows its own first proposal, and
// counts how often what it names is true. 'make hunts' runs it.
//
// Levels are of all lines up to 20 kHz together, RMS, over the hiss, unweighted
// from 20 Hz to 20 kHz, as recorded, at the input where that is most: 6 to
// 60 dB, evenly. A bench is shared by eight hunts; half of the hunts know its
// profile, which was made before the lines of its computer came.
package hunts

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"time"

	"boardproof/calibration"
	"boardproof/cmd/trial/internal/randombench"
	"boardproof/cmd/trial/internal/trials"
)

const (
	// leastDB and mostDB are the levels over the hiss.
	leastDB, mostDB = 6.0, 60.0
	// floorS is how long a bench is listened to for its profile.
	sweepS, floorS = 2.5, 4.0
)

// plan is what a run of the program consists of.
type plan struct {
	trials.Plan
	silenceS float64
	// keep is a folder for the readings, so that they need not be made again
	// where only what they are taken to mean has changed.
	keep string
}

// Program is 'trial hunts'. Eight hunts share one bench.
func Program() trials.Program {
	var p plan
	var mistakes bool
	return trials.Program{
		Name: "hunts", Does: "how often a hum hunt names the true cause",
		Plan: trials.Plan{What: "hunts", Trials: 1000, PerBatch: 8, Seed: 1},
		Flags: func(f *flag.FlagSet) {
			f.Float64Var(&p.silenceS, "silence", 3, "length of each silence in seconds")
			f.StringVar(&p.keep, "keep", "", "`folder` that keeps all readings, and from which they are taken where they are there")
			f.BoolVar(&mistakes, "mistakes", false, "list the hunts that named first what is not there")
		},
		Run: func(ctx context.Context, of trials.Plan) (trials.Figures, error) {
			p.Plan = of
			return p.run(ctx, mistakes)
		},
	}
}

func (p plan) run(ctx context.Context, mistakes bool) (trials.Figures, error) {
	started := time.Now()
	all, err := p.hunt(ctx)
	if err != nil {
		return trials.Figures{}, err
	}
	var done []outcome
	for i, o := range all {
		if o == nil {
			continue
		}
		done = append(done, *o)
		if mistakes && !o.right() {
			fmt.Fprint(p.Out, o.mistake(i))
		}
	}
	fmt.Fprintf(p.Out, "%d of %d hunts on simulated boards, in %s\n\n", len(done), p.Trials, time.Since(started).Round(time.Second))
	table(p.Out, done)
	return trials.Figures{Of: fmt.Sprintf("%d hunts, seed %d", len(done), p.Seed), Found: inShort(done)}, nil
}

// hunt returns how each hunt ended, nil where its first take was refused, as
// clipped or too weak, or it was not reached when ctx ended.
func (p plan) hunt(ctx context.Context) ([]*outcome, error) {
	return randombench.Trials(ctx, p.Plan, sweepS, floorS, func(number int, bench *randombench.Bench, rng *rand.Rand) (func(int) (*outcome, error), error) {
		profile, err := bench.Calibrate(bench.DrawErrors(rng))
		return func(i int) (*outcome, error) {
			own := rand.New(rand.NewPCG(p.Seed, uint64(number)<<8|uint64(i+1)))
			return p.one(ctx, number*p.PerBatch+i, own, bench, profile)
		}, err
	})
}

// one draws a board and hunts on it: one in twenty has nothing but hiss, of
// the others two in three have one cause.
func (p plan) one(ctx context.Context, number int, rng *rand.Rand, bench *randombench.Bench, profile *calibration.Profile) (*outcome, error) {
	causes := 1
	switch x := rng.IntN(60); {
	case x < 3:
		causes = 0
	case x < 22:
		causes = 2
	}
	var names []string
	for _, i := range rng.Perm(len(drawable))[:causes] {
		names = append(names, drawable[i])
	}
	b, err := drawBoard(rng, bench.Config, names, leastDB+(mostDB-leastDB)*rng.Float64())
	if err != nil {
		return nil, err
	}
	if b.can.Profile = rng.IntN(2) == 0; !b.can.Profile {
		profile = nil
	}
	if p.keep != "" {
		b.keep = filepath.Join(p.keep, fmt.Sprintf("%d-%d", p.Seed, number))
	}
	w, n, err := b.lead(ctx, profile, p.silenceS)
	if err != nil {
		return nil, err
	}
	return &outcome{causes: b.causes, aboveDB: b.aboveDB, benchHums: benchHums(bench.Config), conditions: n, weighing: w}, nil
}
