package procedure

import (
	"context"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// inOrder keeps what an operator is asked to do, between what is played.
type inOrder struct {
	*ear
	order []string
}

func (a *inOrder) Ask(ctx context.Context, q talk.Question) (talk.Answer, error) {
	a.order = append(a.order, q.Prompt)
	return a.ear.Ask(ctx, q)
}

func (a *inOrder) Tell(ctx context.Context, e talk.Event) {
	if take, ok := e.(talk.TakeBegun); ok {
		a.order = append(a.order, "plays "+take.What)
	}
	a.ear.Tell(ctx, e)
}

// Joints are flexed by hand while the tone plays. When that take is thrown away
// they must be flexed again, and so it is asked for; nothing else is.
func TestWhatIsDoneByHandIsAskedForAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates and takes again")
	}
	s, sim := goodBench(t)
	limit := 0.0
	flex := verdict.Step{Name: "joints", Patch: string(capture.ToBoard), Signals: []testsignals.Kind{testsignals.Tone}, LevelDBu: -12, DurationS: 2,
		Prompt: "flex every joint while the tone plays", Limits: []verdict.PlanLimit{{Quantity: analysis.DropOuts, Max: &limit}}}
	still := verdict.Step{Name: "path", Patch: string(capture.ToBoard), Signals: []testsignals.Kind{testsignals.Tone}, LevelDBu: -12, DurationS: 2, Prompt: "hands off"}
	for _, f := range []simboard.Faults{{}, {}, {Lost: []simboard.LostFrames{{AtS: 2, Frames: 64}}}, {Repeated: []simboard.RepeatedFrames{{AtS: 2, Frames: 1024}}}} {
		if err := sim.Queue(f); err != nil {
			t.Fatal(err)
		}
	}
	op := &inOrder{ear: newEar("")}
	s.Person = op
	got, err := s.Accept(context.Background(), verdict.Plan{Rule: verdict.Guarded, Steps: []verdict.Step{still, flex}})
	if err != nil || len(got.Refused) > 0 {
		t.Fatalf("%v, refused %v", err, got.Refused)
	}
	order := strings.Join(op.order, "; ")
	if want := "hands off; plays level check; plays tone; " +
		"flex every joint while the tone plays; plays tone; " +
		"once more, from the start: flex every joint while the tone plays; plays tone; " +
		"once more, from the start: flex every joint while the tone plays; plays tone"; order != want {
		t.Errorf("what was asked and played:\n%s\nwant\n%s", order, want)
	}
	if !op.heard("lost samples: ") || !op.heard("the computer missed a block") {
		t.Errorf("said: %q", op.said())
	}
}

// A machine that does not keep up is given more tries than a board, since no
// work at the board helps.
func TestTheComputerGetsMoreTries(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates twice")
	}
	for _, c := range []struct {
		spoilt int
		want   bool
	}{{9, true}, {10, false}} {
		s, sim := goodBench(t)
		for range c.spoilt {
			if err := sim.Queue(simboard.Faults{Repeated: []simboard.RepeatedFrames{{AtS: 1.5, Frames: 256}}}); err != nil {
				t.Fatal(err)
			}
		}
		spec := testsignals.New(testsignals.Tone, 48000, -20, 0.5)
		taken, err := s.Take(context.Background(), "tone", spec, capture.ToBoard, "")
		if (err == nil) != c.want || c.want && taken.Attempt != c.spoilt+1 {
			t.Errorf("%d takes spoilt: %v", c.spoilt, err)
		}
	}
}
