// Package trials runs many trials with random numbers of fixed seeds, several
// at a time, and gives what came of them in their order: the same whatever the
// number of workers.
//
// In this room: workers, seeds, progress, and a program's end. Not in this
// room: what a trial is.
package trials

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"sync"
	"time"
)

// Plan says how many trials there are and how they are run.
type Plan struct {
	// What trials are called, as in "boards".
	What string
	// Trials is how many, PerBatch how many of them share what a batch begins
	// with, Workers how many batches run at once.
	Trials, PerBatch, Workers int
	// Seed is that of all; batch n draws from the stream n of it.
	Seed uint64
	// Progress is told how many are done.
	Progress io.Writer
}

// Run calls batch for every batch: number counts from 0, results are those of
// its trials, to be filled in, and done is to be called after each. It returns
// all results. When ctx ends or a batch fails no further one is begun, and the
// results of trials that were not reached are zero; the error joins those of
// batches, and is nil where ctx ended.
func Run[T any](ctx context.Context, p Plan, batch func(number int, rng *rand.Rand, results []T, done func()) error) ([]T, error) {
	all := make([]T, p.Trials)
	var wait sync.WaitGroup
	var mu sync.Mutex
	var failed error
	begun, ended, started := 0, 0, time.Now()
	next := func() (number int, ok bool) {
		mu.Lock()
		defer mu.Unlock()
		number, begun = begun, begun+1
		return number, failed == nil && ctx.Err() == nil && number*p.PerBatch < p.Trials
	}
	done := func() {
		mu.Lock()
		defer mu.Unlock()
		ended++
		left := time.Duration(float64(time.Since(started)) / float64(ended) * float64(p.Trials-ended))
		fmt.Fprintf(p.Progress, "\r%d of %d %s, %s left   ", ended, p.Trials, p.What, left.Round(time.Second))
	}
	for range p.Workers {
		wait.Go(func() {
			for n, ok := next(); ok; n, ok = next() {
				rng := rand.New(rand.NewPCG(p.Seed, uint64(n)))
				err := batch(n, rng, all[n*p.PerBatch:min((n+1)*p.PerBatch, p.Trials)], done)
				mu.Lock()
				failed = errors.Join(failed, err)
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	fmt.Fprintln(p.Progress)
	return all, failed
}

// Main carries out a program that Ctrl-C ends early, and returns its exit code;
// an error goes to the error stream.
func Main(run func(ctx context.Context) error) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		return 1
	}
	return 0
}
