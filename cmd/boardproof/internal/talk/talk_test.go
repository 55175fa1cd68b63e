package talk_test

import (
	"encoding/json"
	"errors"
	"testing"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/talk/talktest"
)

func TestScript(t *testing.T) {
	talktest.Run(t, func(_ *testing.T, alone bool, lines ...string) talk.Person {
		return &talk.Script{Ready: alone, Answers: lines}
	})
}

func TestNobodyIsThere(t *testing.T) {
	for kind, want := range map[talk.Kind]error{talk.Do: nil, talk.YesNo: talk.ErrNobody} {
		if _, err := (talk.Nobody{}).Ask(t.Context(), talk.Question{Kind: kind, Flag: "yes"}); !errors.Is(err, want) {
			t.Errorf("%s: %v", kind, err)
		}
	}
}

// A script that is out of step with the questions is told apart from a slip.
func TestScriptOutOfStep(t *testing.T) {
	s := &talk.Script{Answers: []string{"no", "left over"}}
	_, err := s.Ask(t.Context(), talk.Question{Kind: talk.Do, Prompt: "plug it in", Flag: "yes"})
	var wrong *talk.WrongAnswer
	if !errors.As(err, &wrong) || err.Error() != `"no" is no answer here: Enter alone, or q and Enter to stop` {
		t.Errorf("%v", err)
	}
	if err := s.Left(); err == nil {
		t.Error("nothing is left over")
	}
	if q := s.Asked(); len(q) != 1 || q[0].Prompt != "plug it in" {
		t.Errorf("asked %+v", q)
	}
}

// Every event has words, and can go to a page as JSON.
func TestEventsHaveWords(t *testing.T) {
	for _, e := range talktest.Events {
		if e.String() == "" {
			t.Errorf("%T says nothing", e)
		}
		if _, err := json.Marshal(e); err != nil {
			t.Errorf("%T: %v", e, err)
		}
	}
}

// The bar names the socket, not its place in the take: with the lead in input
// 2 alone that one is recorded first.
func TestPeaksNameTheSocket(t *testing.T) {
	got := talk.TakeRunning{Progress: capture.Progress{PeakDBFS: []float64{-12.2, -140}, Inputs: []int{2, 1}}}.Peaks()
	if want := " | in2  -12 dBFS | in1 -120 dBFS"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
