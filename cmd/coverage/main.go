// Command coverage measures random simulated boards on random simulated
// benches, each through a calibration of its own, and counts how often the
// truth lies in the interval that was stated. 'make coverage' runs it.
//
// What is stated without having been seen to scatter (the meter's accuracy, how
// the loopback lead repeats, its delay, the loading of the output, the
// interface's clock, the input's share of the response, what a weighting is
// meant to be) is drawn from the distribution that is stated, for each board or
// for each bench. A bench, its converters and the noise of its calibration, is
// shared by four boards.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"runtime"
	"time"

	"boardproof/cmd/internal/randombench"
	"boardproof/cmd/internal/trials"
)

// boardsPerBench share one interface and the recordings of its calibration.
const boardsPerBench = 4

// plan is what a run of the program consists of.
type plan struct {
	boards int
	seed   uint64
	// sweepS and silenceS are how long the signals are, in seconds.
	sweepS, silenceS float64
	workers          int
	progress         io.Writer
}

func main() {
	p := plan{progress: os.Stderr, workers: runtime.NumCPU()}
	flag.IntVar(&p.boards, "boards", 2000, "how many boards to measure; Ctrl-C shows those measured so far")
	flag.Uint64Var(&p.seed, "seed", 1, "seed of the boards")
	flag.Float64Var(&p.sweepS, "sweep", 2.5, "length of the sweeps in seconds")
	flag.Float64Var(&p.silenceS, "silence", 4, "length of the silences in seconds")
	limit := flag.Bool("limit", false, "show only how readings are judged against a limit set at their truth")
	flag.Parse()
	os.Exit(trials.Main(func(ctx context.Context) error { return run(ctx, p, *limit, os.Stdout) }))
}

func run(ctx context.Context, p plan, limit bool, w io.Writer) error {
	started := time.Now()
	all, err := p.measure(ctx)
	if err != nil {
		return err
	}
	t := tallies{}
	measured := 0
	for i, board := range all {
		t.add(i, board)
		if len(board) > 0 {
			measured++
		}
	}
	fmt.Fprintf(w, "%d of %d boards, %d to a bench, in %s\n\n", measured, p.boards, boardsPerBench, time.Since(started).Round(time.Second))
	if !limit {
		t.print(w)
		fmt.Fprintln(w)
	}
	printOutcomes(w, judge(all))
	if bad := t.outside(0.935, 0.965); !limit && len(bad) > 0 {
		return fmt.Errorf("outside 93.5 to 96.5 %%: %q", bad)
	}
	return nil
}

// measure returns what was seen of each board, nothing of those whose takes
// were refused or that were not reached when ctx ended.
func (p plan) measure(ctx context.Context) ([][]seen, error) {
	return trials.Run(ctx, trials.Plan{What: "boards", Trials: p.boards, PerBatch: boardsPerBench, Workers: p.workers, Seed: p.seed, Progress: p.progress}, p.measureBench)
}

// measureBench fills in boards, all of which are on one bench. One whose take
// was refused, as clipped, is left empty: there is no reading to be right.
func (p plan) measureBench(number int, rng *rand.Rand, boards [][]seen, done func()) error {
	b, err := randombench.NewBench(rng, p.sweepS, p.silenceS)
	if randombench.Refused(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bench %d: %w", number, err)
	}
	for i := range boards {
		boards[i], err = measureBoard(b, rng, p)
		if err != nil && !randombench.Refused(err) {
			return fmt.Errorf("bench %d, board %d: %w", number, i+1, err)
		}
		done()
	}
	return nil
}
