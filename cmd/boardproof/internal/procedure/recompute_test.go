package procedure

import (
	"context"
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// lossy loses frames in every take of a kind.
type lossy struct {
	capture.Instrument
	kind testsignals.Kind
}

func (l lossy) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	take, err := l.Instrument.Record(ctx, req)
	if err != nil || req.Signal.Kind != l.kind {
		return take, err
	}
	at := req.Signal.Body.Start + req.Signal.Body.Len()/2
	for c, x := range take.Samples {
		take.Samples[c] = append(slices.Delete(slices.Clone(x), at, at+64), x[len(x)-64:]...)
	}
	return take, nil
}

// mute cannot record.
type mute struct{ capture.Instrument }

func (mute) Record(context.Context, capture.Request) (*capture.Take, error) {
	return nil, errors.New("asked to record")
}

// Whatever a sitting went through, its takes give the same again: takes that
// were left out, made again, or that could not be had.
func TestRecomputeIsAsAtTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts several boards")
	}
	for name, c := range map[string]struct {
		repeats int
		bangs   []int
		again   int // takes that were made in place of others
	}{
		"quiet":                {1, nil, 0},
		"two, banged on":       {2, []int{2}, 1},
		"two, banged on twice": {2, []int{2, 3}, 2},
		"four, banged on":      {4, []int{3}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			s, _ := goodBench(t)
			s.Instrument = &banged{Instrument: s.Instrument, kind: testsignals.Tone, takes: c.bangs}
			plan := repeatedPlan(testsignals.Tone, c.repeats)
			was, _ := acceptOnce(t, s, plan)
			again := 0
			for _, tk := range was.Takes {
				if tk.Again {
					again++
				}
			}
			if again != c.again || len(was.Takes) != c.repeats+c.again {
				t.Fatalf("%d takes, %d of them made again, want %d", len(was.Takes), again, c.again)
			}
			sameAgain(t, s, plan, was)
		})
	}
}

func TestRecomputeRefusesAsAtTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts several boards")
	}
	s, _ := goodBench(t)
	good := s.Instrument
	s.Instrument = lossy{good, testsignals.Impulses}
	plan := verdict.Plan{Rule: verdict.Guarded, Steps: []verdict.Step{
		{Name: "tone", Patch: string(capture.ToBoard), State: "all bypassed", Signals: []testsignals.Kind{testsignals.Tone}, LevelDBu: -12, DurationS: 1},
		{Name: "path", Patch: string(capture.ToBoard), State: "", Signals: []testsignals.Kind{testsignals.Sweep, testsignals.Impulses}, LevelDBu: -12},
	}}
	s.Person = talk.Nobody{}
	was, err := s.Accept(context.Background(), plan)
	if err != nil {
		t.Fatal(err)
	}
	if len(was.Refused) == 0 || len(was.Takes) != 2 {
		t.Fatalf("%d takes, refused %v", len(was.Takes), was.Refused)
	}
	sameAgain(t, s, plan, was)
	// Without the take of the tone there is no reading of it, and no other.
	got, err := again(s, plan, was, was.Takes[1:])
	if err != nil || got.Refused[0].Reason != noKeptTake || len(got.Takes) != 1 {
		t.Errorf("%d takes, refused %v, %v", len(got.Takes), got.Refused, err)
	}
}

func again(s *Sitting, plan verdict.Plan, was *Accepted, takes []StepTake) (*Accepted, error) {
	var kept []KeptTake
	for _, tk := range takes {
		whole := *tk.Take
		kept = append(kept, KeptTake{Step: tk.Step, Take: &capture.Take{Signal: whole.Signal}, Load: func() (*capture.Take, error) { return &whole, nil }, Attempt: tk.Attempt, Again: tk.Again})
	}
	later := *s
	later.Instrument = mute{s.Instrument}
	return later.Recompute(context.Background(), plan, kept, was.Refused)
}

func sameAgain(t *testing.T, s *Sitting, plan verdict.Plan, was *Accepted) {
	t.Helper()
	is, err := again(s, plan, was, was.Takes)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(was.Readings, is.Readings); diff != "" {
		t.Errorf("readings (-was +is):\n%.2000s", diff)
	}
	if diff := cmp.Diff(was.Curves, is.Curves); diff != "" {
		t.Errorf("curves (-was +is):\n%.2000s", diff)
	}
	if diff := cmp.Diff(was.Refused, is.Refused); diff != "" {
		t.Errorf("refusals (-was +is):\n%.2000s", diff)
	}
	for i, tk := range was.Takes {
		if o := is.Takes[i]; o.Take.Signal != tk.Take.Signal || !o.Take.Started.Equal(tk.Take.Started) || o.LeftOut != tk.LeftOut || o.Again != tk.Again {
			t.Errorf("take %d was left out for %q, is for %q", i, tk.LeftOut, o.LeftOut)
		}
	}
}
