// Package talktest is the contract test that every [talk.Person] runs.
package talktest

import (
	"context"
	"errors"
	"testing"
	"time"

	"go.uber.org/goleak"

	"boardproof/analysis/hunt"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
)

// Begin makes a person who answers with lines, one for each time that something
// is asked of them, and then waits for ever, or, where that is not possible,
// has no more answers. Nobody answers where alone is true.
type Begin func(t *testing.T, alone bool, lines ...string) talk.Person

// Every kind of question.
var (
	do     = talk.Question{Kind: talk.Do, Prompt: "plug it in", Caution: "amplifiers down", Flag: "yes"}
	back   = talk.Question{Kind: talk.Do, Prompt: "lights off", Back: true, Flag: "yes"}
	choose = talk.Question{Kind: talk.Choose, Prompt: "is it in?", Flag: "board-in",
		Choices: []talk.Choice{{Key: "", Means: "measure again"}, {Key: "w", Means: "go on"}}}
	inline = talk.Question{Kind: talk.Choose, Prompt: "not a sure one", How: "Enter repeats it, s goes on", Flag: "yes",
		Choices: []talk.Choice{{Key: "", Means: "repeat"}, {Key: "s", Means: "go on"}}}
	leave  = talk.Question{Kind: talk.YesNo, Prompt: "throw it away?", Flag: "yes"}
	volts  = talk.Question{Kind: talk.Number, Unit: "V", Prompt: "the meter reads", How: "volts", Flag: "meter-volts", Check: notHuge}
	words  = talk.Question{Kind: talk.Text, Prompt: "what next?", How: "a number or words", Flag: "condition", Choices: []talk.Choice{{Key: "1", Means: "lights off"}}}
	badly  = talk.Question{Kind: talk.Do, Prompt: "a question that no flag answers"}
	noKeys = talk.Question{Kind: talk.Choose, Prompt: "a question without answers", Flag: "yes"}
)

func notHuge(a talk.Answer) error {
	if a.Number > 100 {
		return errors.New("that is too much")
	}
	return nil
}

// Run is the contract.
func Run(t *testing.T, begin Begin) {
	t.Run("answers", func(t *testing.T) { answers(t, begin) })
	t.Run("alone", func(t *testing.T) { alone(t, begin) })
	t.Run("stopped", func(t *testing.T) { stopped(t, begin) })
	t.Run("wrong", func(t *testing.T) { wrong(t, begin) })
	t.Run("told", func(t *testing.T) { told(t, begin) })
}

// RunAtKeys is the contract of a person who has keys to press, which begin
// gives: what is pressed before a question is shown does not answer it.
func RunAtKeys(t *testing.T, begin func(t *testing.T) (p talk.Person, press func(line string))) {
	for _, q := range []talk.Question{do, choose, leave, volts, words} {
		t.Run(string(q.Kind), func(t *testing.T) {
			p, press := begin(t)
			press("")
			press("yes")
			ctx, stop := context.WithTimeout(t.Context(), 50*time.Millisecond)
			defer stop()
			if a, err := p.Ask(ctx, q); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("%q is answered by what was typed ahead: %+v, %v", q.Prompt, a, err)
			}
		})
	}
}

// answers: each kind of question gets its answer, and each answer one question.
func answers(t *testing.T, begin Begin) {
	for _, c := range []struct {
		name  string
		q     talk.Question
		lines []string
		want  talk.Answer
		err   error
	}{
		{"done", do, []string{""}, talk.Answer{}, nil},
		{"stop", do, []string{"q"}, talk.Answer{}, talk.ErrStopped},
		{"stop in capitals", choose, []string{" Q "}, talk.Answer{}, talk.ErrStopped},
		{"back", back, []string{"q"}, talk.Answer{}, talk.ErrBack},
		{"first choice", choose, []string{""}, talk.Answer{}, nil},
		{"second choice", choose, []string{"W"}, talk.Answer{Key: "w"}, nil},
		{"inline", inline, []string{"s"}, talk.Answer{Key: "s"}, nil},
		{"yes", leave, []string{"Yes"}, talk.Answer{Key: "yes"}, nil},
		{"y", leave, []string{"y"}, talk.Answer{Key: "yes"}, nil},
		{"no", leave, []string{"no"}, talk.Answer{Key: "no"}, nil},
		{"nothing is no yes", leave, []string{""}, talk.Answer{Key: "no"}, nil},
		{"anything is no yes", leave, []string{"yes please"}, talk.Answer{Key: "no"}, nil},
		{"volts", volts, []string{" 0,775 V "}, talk.Answer{Key: "0,775 V", Number: 0.775}, nil},
		{"volts at last", volts, []string{"", "low", "775", "775 mV"}, talk.Answer{Key: "775 mV", Number: 0.775}, nil},
		{"words", words, []string{" mast light off "}, talk.Answer{Key: "mast light off"}, nil},
		{"no words", words, []string{""}, talk.Answer{}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := begin(t, false, c.lines...).Ask(t.Context(), c.q)
			if !errors.Is(err, c.err) || (err == nil) != (c.err == nil) || got != c.want {
				t.Errorf("%q is answered %+v, %v; want %+v, %v", c.lines, got, err, c.want, c.err)
			}
		})
	}
	p := begin(t, false, "", "w", "no", "811 mV")
	for i, q := range []talk.Question{do, choose, leave, volts} {
		got, err := p.Ask(t.Context(), q)
		want := []talk.Answer{{}, {Key: "w"}, {Key: "no"}, {Key: "811 mV", Number: 0.811}}[i]
		if err != nil || got != want {
			t.Errorf("question %d of a row is answered %+v, %v; want %+v", i+1, got, err, want)
		}
	}
}

// alone: where nobody is there only what is to be done counts as done.
func alone(t *testing.T, begin Begin) {
	p := begin(t, true)
	for _, q := range []talk.Question{do, back} {
		if a, err := p.Ask(t.Context(), q); err != nil || a != (talk.Answer{}) {
			t.Errorf("%q with nobody there: %+v, %v", q.Prompt, a, err)
		}
	}
	for _, q := range []talk.Question{choose, inline, leave, volts, words} {
		if _, err := p.Ask(t.Context(), q); !errors.Is(err, talk.ErrNobody) {
			t.Errorf("%q with nobody there: %v", q.Prompt, err)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := p.Ask(ctx, do); !errors.Is(err, context.Canceled) {
		t.Errorf("nobody there, and stopped: %v", err)
	}
}

// stopped: a context that ends ends the question, and leaves nothing behind that
// would take the next answer.
func stopped(t *testing.T, begin Begin) {
	for _, q := range []talk.Question{do, choose, leave, volts, words} {
		p := begin(t, false)
		before := goleak.IgnoreCurrent()
		ctx, stop := context.WithCancel(t.Context())
		timer := time.AfterFunc(20*time.Millisecond, stop)
		_, err := p.Ask(ctx, q)
		if !errors.Is(err, context.Canceled) && !errors.Is(err, talk.ErrNoAnswer) {
			t.Errorf("%q, stopped: %v", q.Prompt, err)
		}
		timer.Stop()
		stop()
		if _, err := p.Ask(ctx, q); !errors.Is(err, context.Canceled) {
			t.Errorf("%q after it was stopped: %v", q.Prompt, err)
		}
		goleak.VerifyNone(t, before)
	}
}

// wrong: a question that is not one is refused.
func wrong(t *testing.T, begin Begin) {
	for _, q := range []talk.Question{badly, noKeys} {
		if _, err := begin(t, false, "").Ask(t.Context(), q); err == nil {
			t.Errorf("%s was asked", q.Prompt)
		}
	}
}

// told: everything can be told, also when it has been stopped and while a take
// runs, and nobody waits for it.
func told(t *testing.T, begin Begin) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	p := begin(t, false)
	for range 2 {
		for _, e := range Events {
			p.Tell(ctx, e)
		}
		stop()
	}
}

// Events are one of each kind.
var Events = []talk.Event{
	talk.StepBegun{N: 1, Of: 2, Name: "path"}, talk.StepRead{Name: "path"}, talk.TakenBefore{}, talk.TakeBegun{What: "sweep", Seconds: 6},
	talk.TakeRunning{Progress: capture.Progress{Seconds: 3, OfSeconds: 6, PeakDBFS: []float64{-20, -30}, Inputs: []int{1, 2}}}, talk.TakeEnded{},
	talk.TakeRunning{Progress: capture.Progress{Seconds: 3, OfSeconds: 6, PeakDBFS: []float64{-20}}},
	talk.TakeThrownAway{Reason: "clipped", Try: 2, Of: 3}, talk.TakeLeftOut{Signal: "tone", N: 1, Of: 3, Reason: "a bang"},
	talk.TakeMissing{What: "tone", Doing: "could not be had again", Reason: "clipped"}, talk.InputChecked{Input: 1, DB: 0.01, LimitDB: 0.02},
	talk.MeterRead{VoltsRMS: 0.775}, talk.SilenceRead{N: 1, Condition: hunt.AsFound, Readings: []hunt.Reading{{Output: "A", Reason: "it clips"}}},
	talk.HumRead{AtS: 2, Readings: []hunt.Reading{{Output: "A", Reason: "it clips"}}},
	talk.NotPassed{Run: "r1", Board: "Tin Heron", Verdict: "fail"}, talk.Remarkf("plain"), talk.Remark{Severity: talk.Caution, Text: "c"}, talk.Remark{Severity: talk.Warning, Text: "w"}, talk.Remark{Severity: talk.Note, Text: "n"},
	talk.Working{Doing: "copying"}, talk.Working{Doing: "copying", Done: 1, Of: 2}, talk.Working{Doing: "copying", Ended: true}, talk.StoreBusy{},
}
