// Command retest measures random simulated boards twice, changes nothing on
// them in between, and counts how often the comparison of the two calls
// something changed. 'make retest' runs it.
//
// Half of the boards are measured under one profile both times, half under a
// new calibration the second time, with other errors, each drawn as it is
// stated (see cmd/internal/randombench). A second sitting has other noise, and
// leads that lie otherwise: the bench's own hum lines have a new phase. Lines that
// a calibration could not see are there as it states them. The board is the same to
// the last figure, and the mains starts at the same frequency. Its own plugs do not
// scatter here, nor does temperature, as no budget has them.
//
// It takes hours on one core: --keep writes what was read, and of several seeds,
// measured in pieces, the files together are compared by naming them.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"sync"
	"time"

	"boardproof/cmd/internal/randombench"
	"boardproof/cmd/internal/trials"
)

// boardsPerBench share one interface; every second one is recalibrated.
const boardsPerBench = 4

type plan struct {
	boards int
	seed   uint64
	// sweepS, silenceS and toneS are how long the signals are, in seconds.
	sweepS, silenceS, toneS float64
	workers                 int
	progress                io.Writer
	// keep, where not nil, takes what was read as it comes.
	keep io.Writer
}

func main() {
	p := plan{progress: os.Stderr}
	flag.IntVar(&p.boards, "boards", 1000, "how many boards to measure twice; Ctrl-C shows those measured so far")
	flag.Uint64Var(&p.seed, "seed", 1, "seed of the boards; other seeds give other boards")
	flag.Float64Var(&p.sweepS, "sweep", 2.5, "length of the sweeps in seconds")
	flag.Float64Var(&p.silenceS, "silence", 4, "length of the silences in seconds")
	flag.Float64Var(&p.toneS, "tone", 1.5, "length of the tones in seconds")
	flag.IntVar(&p.workers, "workers", runtime.NumCPU(), "how many boards to measure at once")
	file := flag.String("keep", "", "also write what was read to this `file`, a board a line: some 0.6 MB each")
	flag.Usage = func() {
		fmt.Fprint(flag.CommandLine.Output(), "retest [flags]         measure boards twice and compare\n"+
			"retest FILE [FILE...]  compare what --keep wrote, of as many seeds as there are\n")
		flag.PrintDefaults()
	}
	flag.Parse()
	os.Exit(trials.Main(func(ctx context.Context) error { return run(ctx, p, *file, flag.Args(), os.Stdout) }))
}

// run measures by plan and keeps what was read in file, or, where files are
// named, reads those. Then it compares.
func run(ctx context.Context, p plan, file string, files []string, w io.Writer) error {
	t := newTally()
	if len(files) > 0 {
		if err := readKept(files, t.add); err != nil {
			return err
		}
		fmt.Fprintf(w, "%d SIMULATED boards, each measured twice, %d to a bench, from %s\n\n", t.boards.both().tests, boardsPerBench, strings.Join(files, ", "))
		t.print(w)
		return t.judge()
	}
	if file != "" {
		f, err := os.Create(file)
		if err != nil {
			return fmt.Errorf("keeping what was read: %w", err)
		}
		defer f.Close() //nolint:errcheck // each write was checked
		p.keep = f
	}
	started := time.Now()
	all, err := p.measure(ctx)
	if err != nil {
		return err
	}
	for _, s := range all {
		t.add(s)
	}
	fmt.Fprintf(w, "%d of %d SIMULATED boards, each measured twice, %d to a bench, seed %d, in %s\n\n",
		t.boards.both().tests, p.boards, boardsPerBench, p.seed, time.Since(started).Round(time.Second))
	t.print(w)
	return t.judge()
}

// measure returns what was seen of each board, nothing of those whose takes
// were refused or that were not reached when ctx ended.
func (p plan) measure(ctx context.Context) ([]sittings, error) {
	var mu sync.Mutex
	return trials.Run(ctx, trials.Plan{What: "boards", Trials: p.boards, PerBatch: boardsPerBench, Workers: p.workers, Seed: p.seed, Progress: p.progress},
		func(number int, rng *rand.Rand, boards []sittings, done func()) error {
			err := p.measureBench(number, rng, boards, done)
			if err != nil || p.keep == nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			return keep(p.keep, boards)
		})
}

// measureBench fills in boards, all of which are on one bench. One whose take
// was refused, as clipped, is left empty.
func (p plan) measureBench(number int, rng *rand.Rand, boards []sittings, done func()) error {
	b, err := randombench.NewBench(rng, p.sweepS, p.silenceS)
	if randombench.Refused(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bench %d: %w", number, err)
	}
	later, err := b.Again(rng, p.sweepS, p.silenceS)
	if randombench.Refused(err) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bench %d, calibrated again: %w", number, err)
	}
	for i := range boards {
		boards[i], err = p.retest(rng, b, later, i%2 == 1)
		if err != nil && !randombench.Refused(err) {
			return fmt.Errorf("bench %d, board %d: %w", number, i+1, err)
		}
		boards[i].Seed, boards[i].Bench, boards[i].Board, boards[i].Recalibrated = p.seed, number, i+1, i%2 == 1
		done()
	}
	return nil
}
