package trials

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
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

func program(run func(context.Context, Plan) (Figures, error)) []Program {
	return []Program{{Name: "toss", Does: "toss coins", Plan: Plan{What: "coins", Trials: 7, PerBatch: 2, Seed: 1}, Run: run}}
}

// Flags are the same for all, and what a judge found is a row of the table, in
// the file too, also where it is not as it should be.
func TestMain(t *testing.T) {
	file := filepath.Join(t.TempDir(), "result")
	var got Plan
	run := func(_ context.Context, p Plan) (Figures, error) {
		got = p
		fmt.Fprintln(p.Out, "heads")
		return Figures{"7 coins", "4 heads"}, errors.New("not even")
	}
	var out, errs strings.Builder
	code := Main(program(run), []string{"toss", "-count", "9", "-seed", "3", "-workers", "2", "-o", file}, &out, &errs)
	if code != 1 || !strings.Contains(errs.String(), "error: not even") || got.Trials != 9 || got.Seed != 3 || got.Workers != 2 || got.PerBatch != 2 {
		t.Errorf("code %d, plan %+v, said %q", code, got, errs.String())
	}
	row := regexp.MustCompile("^heads\n\n\\| \\d{4}-\\d\\d-\\d\\d \\| [^|]+ \\| `toss` \\| 7 coins \\| 4 heads \\|\n$")
	kept, err := os.ReadFile(file)
	if err != nil || string(kept) != out.String() || !row.MatchString(out.String()) {
		t.Errorf("kept %q, %v; printed %q", kept, err, out.String())
	}
}

func TestWrongUse(t *testing.T) {
	run := func(context.Context, Plan) (Figures, error) { return Figures{}, nil }
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"", 2, "toss coins"}, {"throw", 2, "toss coins"}, {"toss -count none", 2, "-count"}, {"toss -count 0", 2, "-workers"},
		{"toss -workers 0", 2, "-workers"}, {"toss coin", 2, "-workers"}, {"toss -h", 0, "-seed"}, {"toss", 0, ""},
		{"toss -o no/such/folder/file", 1, "error: writing the result: "},
	} {
		var out, errs strings.Builder
		if code := Main(program(run), strings.Fields(c.args), &out, &errs); code != c.code || !strings.Contains(errs.String(), c.says) || out.Len() > 0 {
			t.Errorf("%q: code %d, printed %q, said %q", c.args, code, out.String(), errs.String())
		}
	}
}
