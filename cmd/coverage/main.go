// Command coverage measures random simulated boards on random simulated
// benches, each through a calibration of its own, and counts how often the
// truth lies in the interval that was stated. 'make coverage' runs it.
//
// What a profile states without having seen it scatter (the meter's accuracy,
// how the loopback lead repeats, its delay, the loading of the output, the
// interface's clock) is drawn anew for each board from the distribution that is
// stated. A bench, its converters and the noise of its calibration, is shared
// by four boards.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"runtime"
	"sync"
	"time"
)

// boardsPerBench share one interface and the recordings of its calibration.
const boardsPerBench = 4

// plan is what a run of the program consists of.
type plan struct {
	boards   int
	seed     uint64
	silenceS float64
	workers  int
	progress io.Writer
}

func main() {
	p := plan{progress: os.Stderr, workers: runtime.NumCPU()}
	flag.IntVar(&p.boards, "boards", 2000, "how many boards to measure")
	flag.Uint64Var(&p.seed, "seed", 1, "seed of the boards")
	flag.Float64Var(&p.silenceS, "silence", 5, "length of the silence in seconds")
	limit := flag.Bool("limit", false, "judge each reading against a limit set at its truth instead")
	flag.Parse()
	if err := run(p, *limit, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(p plan, limit bool, w io.Writer) error {
	started := time.Now()
	all, err := p.measure()
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%d boards on %d benches in %s\n\n", p.boards, p.benches(), time.Since(started).Round(time.Second))
	if limit {
		printOutcomes(w, judge(all))
		return nil
	}
	t := tallies{}
	for _, board := range all {
		t.add(board)
	}
	t.print(w)
	if bad := t.outside(0.935, 0.965); len(bad) > 0 {
		return fmt.Errorf("outside 93.5 to 96.5 %%: %q", bad)
	}
	return nil
}

func (p plan) benches() int { return (p.boards + boardsPerBench - 1) / boardsPerBench }

// measure returns what was seen of each board.
func (p plan) measure() ([][]seen, error) {
	all := make([][]seen, p.boards)
	var wait sync.WaitGroup
	var mu sync.Mutex
	var failed error
	next, done, started := 0, 0, time.Now()
	for range p.workers {
		wait.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				stop := failed != nil || i >= p.benches()
				mu.Unlock()
				if stop {
					return
				}
				first := i * boardsPerBench
				last := min(first+boardsPerBench, p.boards)
				err := p.measureBench(uint64(i), all[first:last])
				mu.Lock()
				done += last - first
				if err != nil {
					failed = errors.Join(failed, fmt.Errorf("bench %d: %w", i, err))
				}
				left := time.Duration(float64(time.Since(started)) / float64(done) * float64(p.boards-done))
				fmt.Fprintf(p.progress, "\r%d of %d boards, %s left  ", done, p.boards, left.Round(time.Second))
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	fmt.Fprintln(p.progress)
	return all, failed
}

func (p plan) measureBench(number uint64, boards [][]seen) error {
	rng := rand.New(rand.NewPCG(p.seed, number))
	b, err := newBench(rng, p.silenceS)
	if err != nil {
		return err
	}
	for i := range boards {
		if boards[i], err = b.measureBoard(rng, p.silenceS); err != nil {
			return fmt.Errorf("board %d: %w", i+1, err)
		}
	}
	return nil
}
