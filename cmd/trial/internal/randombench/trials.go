package randombench

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/trials"
)

// Trials runs p's trials on random benches, a batch on each. begin draws what
// those of one bench share, from rng, and returns what carries out its i-th.
// A trial in which a take was refused, as clipped, stays empty, as do all on a
// bench that was refused when it was calibrated: there is nothing to count.
func Trials[T any](ctx context.Context, p trials.Plan, sweepS, silenceS float64, begin func(number int, b *Bench, rng *rand.Rand) (func(i int) (T, error), error)) ([]T, error) {
	return trials.Run(ctx, p, func(number int, rng *rand.Rand, results []T, done func()) error {
		b, err := NewBench(rng, sweepS, silenceS)
		var trial func(i int) (T, error)
		if err == nil {
			trial, err = begin(number, b, rng)
		}
		if Refused(err) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("bench %d: %w", number, err)
		}
		for i := range results {
			result, err := trial(i)
			switch {
			case ctx.Err() != nil:
				return nil
			case err == nil:
				results[i] = result
			case !Refused(err):
				return fmt.Errorf("bench %d, trial %d: %w", number, i+1, err)
			}
			done()
		}
		return nil
	})
}

// BoardOn draws a board for a bench, under a mains of the frequency that it has there.
func BoardOn(rng *rand.Rand, bench simboard.Config) simboard.Config {
	cfg := simboard.Random(rng)
	cfg.Interface = bench.Interface
	cfg.Mains.StartHz += math.Round(bench.Mains.StartHz/10)*10 - math.Round(cfg.Mains.StartHz/10)*10
	return cfg
}
