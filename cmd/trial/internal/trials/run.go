// Package trials is what all trial programs have in common: flags, seeds,
// workers, progress, where the result goes, and the row of figures at the end.
//
// In this room: how trials are run and a program ends. Not in this room: what
// a trial is.
package trials

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
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
	// Args are what was named after the flags.
	Args []string
	// Out takes the result, Progress is told how many are done.
	Out, Progress io.Writer
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
	begun, progress := 0, NewProgress(p.Progress, p.Trials, p.What)
	next := func() (number int, ok bool) {
		mu.Lock()
		defer mu.Unlock()
		number, begun = begun, begun+1
		return number, failed == nil && ctx.Err() == nil && number*p.PerBatch < p.Trials
	}
	for range p.Workers {
		wait.Go(func() {
			for n, ok := next(); ok; n, ok = next() {
				rng := rand.New(rand.NewPCG(p.Seed, uint64(n)))
				err := batch(n, rng, all[n*p.PerBatch:min((n+1)*p.PerBatch, p.Trials)], func() { progress.Add(1) })
				mu.Lock()
				failed = errors.Join(failed, err)
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	progress.End()
	return all, failed
}

// Progress tells how much of something is done, and how long the rest will take.
type Progress struct {
	w       io.Writer
	what    string
	started time.Time
	mu      sync.Mutex
	ended   int
	of      int
}

func NewProgress(w io.Writer, of int, what string) *Progress {
	return &Progress{w: w, of: of, what: what, started: time.Now()}
}

func (p *Progress) Add(n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ended += n
	left := time.Duration(float64(time.Since(p.started)) / float64(p.ended) * float64(p.of-p.ended))
	fmt.Fprintf(p.w, "\r%d of %d %s, %s left   ", p.ended, p.of, p.what, left.Round(time.Second))
}

func (p *Progress) End() { fmt.Fprintln(p.w) }
