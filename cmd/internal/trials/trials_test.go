package trials

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func draw(_ int, rng *rand.Rand, results []uint64, done func()) error {
	for i := range results {
		results[i] = rng.Uint64()
		done()
	}
	return nil
}

// What comes of a trial hangs on its seed and its place alone.
func TestSameWhateverTheWorkers(t *testing.T) {
	run := func(workers int, seed uint64) []uint64 {
		got, err := Run(t.Context(), Plan{Trials: 23, PerBatch: 4, Workers: workers, Seed: seed, Progress: io.Discard}, draw)
		if err != nil || slices.Contains(got, 0) {
			t.Fatalf("%v, %v", got, err)
		}
		return got
	}
	one := run(1, 7)
	if !slices.Equal(one, run(5, 7)) {
		t.Error("five workers make something else than one")
	}
	if slices.Equal(one, run(1, 8)) || one[0] == one[4] {
		t.Error("other seeds or batches make the same")
	}
	if want := rand.New(rand.NewPCG(7, 5)).Uint64(); one[20] != want {
		t.Errorf("batch 5 begins with %d, its stream with %d", one[20], want)
	}
}

// A batch that fails lets no further one begin, and what is there stays.
func TestFailureEndsIt(t *testing.T) {
	broken := errors.New("broken")
	for name, c := range map[string]struct {
		end  func(cancel context.CancelFunc) error
		want error
	}{
		"a batch fails": {func(context.CancelFunc) error { return broken }, broken},
		"the end comes": {func(cancel context.CancelFunc) error { cancel(); return nil }, nil},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		got, err := Run(ctx, Plan{Trials: 12, PerBatch: 3, Workers: 1, Progress: io.Discard}, func(n int, rng *rand.Rand, results []uint64, done func()) error {
			draw(n, rng, results, done) //nolint:errcheck // has none
			if n == 1 {
				return c.end(cancel)
			}
			return nil
		})
		cancel()
		if !errors.Is(err, c.want) || slices.Contains(got[:6], 0) || slices.Max(got[6:]) != 0 {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
}

func TestProgress(t *testing.T) {
	var said strings.Builder
	if _, err := Run(t.Context(), Plan{What: "boards", Trials: 5, PerBatch: 2, Workers: 1, Progress: &said}, draw); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(said.String(), "\r"); n != 5 || !strings.Contains(said.String(), "\r5 of 5 boards, 0s left") || !strings.HasSuffix(said.String(), "\n") {
		t.Errorf("said %q", said.String())
	}
}

func TestMainSaysWhatFailed(t *testing.T) {
	if code := Main(func(context.Context) error { return nil }); code != 0 {
		t.Errorf("nothing failed, and it ends with %d", code)
	}
	if code := Main(func(context.Context) error { return errors.New("broken") }); code != 1 {
		t.Errorf("it failed, and ends with %d", code)
	}
}
