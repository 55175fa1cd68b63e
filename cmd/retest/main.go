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
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"sync"
	"time"

	"boardproof/capture"
	"boardproof/cmd/internal/randombench"
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
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, p, *file, flag.Args(), os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
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
	all := make([]sittings, p.boards)
	benches := (p.boards + boardsPerBench - 1) / boardsPerBench
	var wait sync.WaitGroup
	var mu sync.Mutex
	var failed error
	next, done, started := 0, 0, time.Now()
	take := func() (bench int, ok bool) {
		mu.Lock()
		defer mu.Unlock()
		bench, next = next, next+1
		return bench, failed == nil && ctx.Err() == nil && bench < benches
	}
	count := func(boards []sittings, err error) {
		mu.Lock()
		defer mu.Unlock()
		done += len(boards)
		if err == nil && p.keep != nil {
			err = keep(p.keep, boards)
		}
		failed = errors.Join(failed, err)
		left := time.Duration(float64(time.Since(started)) / float64(done) * float64(p.boards-done))
		fmt.Fprintf(p.progress, "\r%d of %d boards, %s left   ", done, p.boards, left.Round(time.Second))
	}
	for range p.workers {
		wait.Go(func() {
			for i, ok := take(); ok; i, ok = take() {
				boards := all[i*boardsPerBench : min((i+1)*boardsPerBench, p.boards)]
				count(boards, p.measureBench(i, boards))
			}
		})
	}
	wait.Wait()
	fmt.Fprintln(p.progress)
	return all, failed
}

// measureBench fills in boards, all of which are on one bench. One whose take
// was refused, as clipped, is left empty.
func (p plan) measureBench(number int, boards []sittings) error {
	rng := rand.New(rand.NewPCG(p.seed, uint64(number)))
	b, err := randombench.NewBench(rng, p.sweepS, p.silenceS)
	if err != nil {
		return fmt.Errorf("bench %d: %w", number, err)
	}
	later, err := b.Again(rng, p.sweepS, p.silenceS)
	if err != nil {
		return fmt.Errorf("bench %d, calibrated again: %w", number, err)
	}
	for i := range boards {
		var refused *capture.BadTake
		boards[i], err = p.retest(rng, b, later, i%2 == 1)
		if err != nil && !errors.As(err, &refused) {
			return fmt.Errorf("bench %d, board %d: %w", number, i+1, err)
		}
		boards[i].Seed, boards[i].Bench, boards[i].Board, boards[i].Recalibrated = p.seed, number, i+1, i%2 == 1
	}
	return nil
}
