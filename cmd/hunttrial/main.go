// Command hunttrial hunts the hum of random simulated boards, each with one
// cause, two or none, as the tool does that follows its own first proposal, and
// counts how often what it names is true. 'make hunts' runs it.
//
// Levels are of all lines up to 20 kHz together, RMS, over the hiss, unweighted
// from 20 Hz to 20 kHz, as recorded, at the input where that is most: 6 to
// 60 dB, evenly. A bench is shared by eight hunts; half of the hunts know its
// profile, which was made before the lines of its computer came.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"boardproof/calibration"
	"boardproof/cmd/internal/randombench"
	"boardproof/cmd/internal/trials"
)

const (
	huntsPerBench = 8
	// leastDB and mostDB are the levels over the hiss.
	leastDB, mostDB = 6.0, 60.0
	// floorS is how long a bench is listened to for its profile.
	sweepS, floorS = 2.5, 4.0
)

// plan is what a run of the program consists of.
type plan struct {
	hunts    int
	seed     uint64
	silenceS float64
	workers  int
	progress io.Writer
	// keep is a folder for the readings, so that they need not be made again
	// where only what they are taken to mean has changed.
	keep string
}

func main() {
	p := plan{progress: os.Stderr}
	flag.IntVar(&p.hunts, "hunts", 1000, "how many hunts; Ctrl-C shows those done so far")
	flag.Uint64Var(&p.seed, "seed", 1, "seed of the boards")
	flag.Float64Var(&p.silenceS, "silence", 3, "length of each silence in seconds")
	flag.IntVar(&p.workers, "workers", runtime.NumCPU(), "hunts at a time")
	flag.StringVar(&p.keep, "keep", "", "folder that keeps all readings, and from which they are taken where they are there")
	mistakes := flag.Bool("mistakes", false, "list the hunts that named first what is not there")
	flag.Parse()
	os.Exit(trials.Main(func(ctx context.Context) error { return run(ctx, p, *mistakes, os.Stdout) }))
}

func run(ctx context.Context, p plan, mistakes bool, w io.Writer) error {
	started := time.Now()
	all, err := p.hunt(ctx)
	if err != nil {
		return err
	}
	var done []outcome
	for i, o := range all {
		if o == nil {
			continue
		}
		done = append(done, *o)
		if mistakes && !o.right() {
			fmt.Fprint(w, o.mistake(i))
		}
	}
	fmt.Fprintf(w, "%d of %d hunts on simulated boards, in %s\n\n", len(done), p.hunts, time.Since(started).Round(time.Second))
	table(w, done)
	return nil
}

// hunt returns how each hunt ended, nil where its first take was refused, as
// clipped or too weak, or it was not reached when ctx ended.
func (p plan) hunt(ctx context.Context) ([]*outcome, error) {
	return trials.Run(ctx, trials.Plan{What: "hunts", Trials: p.hunts, PerBatch: huntsPerBench, Workers: p.workers, Seed: p.seed, Progress: p.progress},
		func(number int, rng *rand.Rand, hunts []*outcome, done func()) error {
			return p.onBench(ctx, number, rng, hunts, done)
		})
}

// onBench fills in hunts, all of which are on one bench.
func (p plan) onBench(ctx context.Context, number int, rng *rand.Rand, hunts []*outcome, done func()) error {
	bench, err := randombench.NewBench(rng, sweepS, floorS)
	if randombench.Refused(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bench %d: %w", number, err)
	}
	profile, err := bench.Calibrate(bench.DrawErrors(rng))
	if err != nil {
		return fmt.Errorf("bench %d: %w", number, err)
	}
	for i := range hunts {
		o, err := p.one(ctx, number*huntsPerBench+i, rand.New(rand.NewPCG(p.seed, uint64(number)<<8|uint64(i+1))), bench, profile)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil && !randombench.Refused(err) {
			return fmt.Errorf("hunt %d: %w", number*huntsPerBench+i, err)
		}
		hunts[i] = o
		done()
	}
	return nil
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
		b.keep = filepath.Join(p.keep, fmt.Sprintf("%d-%d", p.seed, number))
	}
	w, n, err := b.lead(ctx, profile, p.silenceS)
	if err != nil {
		return nil, err
	}
	return &outcome{causes: b.causes, aboveDB: b.aboveDB, benchHums: benchHums(bench.Config), conditions: n, weighing: w}, nil
}
