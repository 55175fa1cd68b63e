package procedure

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// diary is a journal in memory that is left after so many entries.
type diary struct {
	entries []Entry
	after   int
	leave   func()
}

func (d *diary) Keep(_ context.Context, e Entry) (func() (*capture.Take, error), error) {
	if e.Take != nil {
		kept := *e.Take
		e.Load = func() (*capture.Take, error) {
			again := kept
			return &again, nil
		}
		named := kept
		named.Samples = nil
		e.Take = &named
	}
	d.entries = append(d.entries, e)
	if len(d.entries) == d.after {
		d.leave()
	}
	return e.Load, nil
}

// counted counts what is recorded.
type counted struct {
	capture.Instrument
	n int
}

func (c *counted) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c.n++
	return c.Instrument.Record(ctx, req)
}

func threeSteps() verdict.Plan {
	p := verdict.Plan{Rule: verdict.Guarded}
	for i, kind := range []testsignals.Kind{testsignals.Tone, testsignals.Silence, testsignals.Tone} {
		p.Steps = append(p.Steps, verdict.Step{Name: fmt.Sprint("step ", i), Prompt: fmt.Sprint("do ", i), Patch: string(capture.ToBoard),
			Signals: []testsignals.Kind{kind}, LevelDBu: -12, DurationS: 1})
	}
	return p
}

// A sitting that is left after any of its entries, and again at each one after
// that, is gone on with to its end: no step that was done is asked for again,
// and each reading is there once.
func TestLeftSittingIsGoneOnWith(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board several times")
	}
	whole, _ := goodBench(t)
	want, _ := acceptOnce(t, whole, threeSteps())
	for _, after := range []int{3, 5} { // in the midst of a step, and at its end
		d := &diary{}
		left, taken := 0, 0
		for {
			ctx, cancel := context.WithCancel(t.Context())
			d.after, d.leave = len(d.entries)+after, cancel
			s, _ := goodBench(t)
			in := &counted{Instrument: s.Instrument}
			ear := newEar("")
			s.Instrument, s.Person = in, ear
			done := Steps(d.entries)
			s.Keep(d, d.entries)
			got, err := s.Accept(ctx, threeSteps())
			cancel()
			taken += in.n
			if slices.Contains(ear.prompts(), fmt.Sprint("do ", done-1)) {
				t.Fatalf("left after every %d: a step that was done was asked for again: %q", after, ear.prompts())
			}
			if err == nil {
				same(t, want, got)
				break
			}
			if left++; !errors.Is(err, context.Canceled) || left > 40 {
				t.Fatalf("left after every %d: %v, %d times", after, err, left)
			}
			if len(d.entries) == 0 {
				t.Fatal("nothing was kept")
			}
		}
		if left == 0 {
			t.Errorf("left after every %d entries: never", after)
		}
		t.Logf("left after every %d entries: %d times, %d takes", after, left, taken)
	}
}

func same(t *testing.T, want, got *Accepted) {
	t.Helper()
	name := func(a *Accepted) (names []string) {
		for _, r := range a.Readings {
			names = append(names, r.Step+" "+r.Quantity+" "+r.Output)
		}
		return names
	}
	count := func(names []string) map[string]bool {
		m := map[string]bool{}
		for _, n := range names {
			m[n] = true
		}
		return m
	}
	for n := range count(name(want)) {
		if !count(name(got))[n] {
			t.Errorf("no reading of %s", n)
		}
	}
	if len(got.Takes) != len(want.Takes) {
		t.Errorf("%d takes, want %d", len(got.Takes), len(want.Takes))
	}
}

// A journal that cannot be written is said once and stops nothing.
func TestSittingGoesOnWithoutItsJournal(t *testing.T) {
	s, _ := goodBench(t)
	ear := newEar("")
	s.Person = ear
	s.Keep(full{}, nil)
	plan := threeSteps()
	plan.Steps = plan.Steps[:1]
	got, err := s.Accept(t.Context(), plan)
	if err != nil || len(got.Readings) == 0 {
		t.Fatalf("%v, %v", got, err)
	}
	if n := len(slices.DeleteFunc(ear.said(), func(s string) bool { return len(s) < 8 || s[:8] != "caution:" })); n != 1 {
		t.Errorf("said %d times: %q", n, ear.said())
	}
}

// full is a journal on a full disk.
type full struct{}

func (full) Keep(context.Context, Entry) (func() (*capture.Take, error), error) {
	return nil, errors.New("no space left on device")
}

// One wrong lead at the last prompt of a calibration throws nothing away of
// what was taken before it, and the bench is checked before it goes on.
func TestLeftCalibrationIsGoneOnWith(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates")
	}
	d := &diary{}
	plan := sourcePlan()
	plan.Swap = true
	s, l := benchOf(t, func(*simboard.Config) {})
	l.During = newEar("shorting plug").During
	s.Keep(d, nil)
	if _, err := s.Calibrate(t.Context(), plan); !errors.Is(err, talk.ErrStopped) {
		t.Fatal(err)
	}
	s, l = benchOf(t, func(*simboard.Config) {})
	in := &counted{Instrument: s.Instrument}
	s.Instrument = in
	s.Keep(d, d.entries)
	p, err := s.Calibrate(t.Context(), plan)
	if err != nil {
		t.Fatal(err)
	}
	if in.n != 2 || len(l.prompts()) != 2 {
		t.Errorf("%d takes and the prompts %q, want the check and the last silence", in.n, l.prompts())
	}
	if p.Mismatch == nil || len(p.Inputs) != 2 || len(p.Inputs[0].NoiseDensity.FrequencyHz) == 0 {
		t.Errorf("the profile is not whole: %+v", p)
	}

	// A control that was turned meanwhile ends it.
	s, _ = benchOf(t, func(c *simboard.Config) { c.Interface.Inputs[0].FullScaleDBu += 1 })
	s.Keep(d, d.entries[:len(d.entries)-4])
	if _, err := s.Calibrate(t.Context(), plan); err == nil {
		t.Error("went on with an input that was turned by 1 dB")
	}
}

// deadAtFirst records nothing in its first takes.
type deadAtFirst struct {
	capture.Instrument
	n int
}

func (d *deadAtFirst) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	take, err := d.Instrument.Record(ctx, req)
	if d.n--; err == nil && d.n >= 0 {
		for _, x := range take.Samples {
			clear(x)
		}
	}
	return take, err
}

// What a person answered is answered the same when the sitting is gone on with:
// nothing came back at first, which was put right, and it is not asked again.
func TestAnswersAreKept(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	d := &diary{}
	plan := threeSteps()
	plan.Steps = plan.Steps[:2]
	s, _ := goodBench(t)
	s.Instrument = &deadAtFirst{s.Instrument, maxTries}
	who := newEar("do 1")
	who.Answers, s.Person = []string{""}, who
	s.Keep(d, nil)
	if _, err := s.Accept(t.Context(), plan); !errors.Is(err, talk.ErrStopped) || who.asks() != 1 {
		t.Fatalf("%v, asked %d times", err, who.asks())
	}
	s, _ = goodBench(t)
	who = newEar("")
	in := &counted{Instrument: s.Instrument}
	s.Person, s.Instrument = who, in
	s.Keep(d, d.entries)
	got, err := s.Accept(t.Context(), plan)
	if err != nil || len(got.Refused) > 0 || who.asks() != 0 || in.n != 1 {
		t.Errorf("%v, refused %v, asked %d times, %d takes", err, got, who.asks(), in.n)
	}
}

// What is noted of a board that passes the signal like the lead is still noted when
// the sitting is left and gone on with.
func TestNoteOfABoardLikeTheLeadIsGoneOnWith(t *testing.T) {
	d := &diary{}
	ctx, cancel := context.WithCancel(t.Context())
	d.after, d.leave = 5, cancel
	s, _ := goodBench(t)
	s.Keep(d, nil)
	const note = "passes the signal like the loopback lead; a board was in, as the operator says"
	s.boardSeen, s.likeLead = true, note // as after the operator's word
	if _, err := s.Accept(ctx, threeSteps()); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	again, _ := goodBench(t)
	again.Keep(d, d.entries)
	if _, err := again.Accept(t.Context(), threeSteps()); err != nil {
		t.Fatal(err)
	}
	if again.LikeLead() != note {
		t.Errorf("noted is %q, want %q", again.LikeLead(), note)
	}
}
