package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

const (
	// nothingDB under the loopback lead is next to nothing: less than any board
	// in order passes, and what crosses over between inputs (common practice, no
	// source).
	nothingDB = -40.0
	// changedDB is a difference of two gains that is worth a question at once;
	// smaller ones are the estimators' to judge. Common practice, no source.
	changedDB = 0.5
)

// seen are the gains at 1 kHz in dB that each output had at the level check.
type seen map[string][]float64

// oddity is what is wrong with what came back: which kind it is of which outputs,
// by which it is known again, and what to say of it.
type oddity struct{ kind, words string }

// lookedAt takes with take until what came back looks like a board in order, or
// the operator goes on all the same. What is odd is said at once, and once in a
// state of the board.
func (s *Sitting) lookedAt(ctx context.Context, step verdict.Step, before seen, take func() (*Taken, error)) (*Taken, error) {
	for {
		t, err := take()
		odd, lookErr := s.odd(step, before, t, err)
		if lookErr != nil {
			return nil, lookErr
		}
		key := step.State + "\n" + odd.kind
		if odd.kind == "" || s.oddities[key] {
			return t, err
		}
		answer, askErr := s.Person.Ask(ctx, talk.Question{Kind: talk.Choose, Prompt: "this looks wrong: " + odd.words, Flag: "yes",
			Choices: []talk.Choice{{Key: "", Means: "take it again, once that is put right"}, {Key: "g", Means: "go on as it is"}}})
		switch {
		case errors.Is(askErr, talk.ErrNobody):
			s.Person.Tell(ctx, talk.Remarkf("this looks wrong: %s", odd.words))
		case askErr != nil:
			return nil, askErr
		case answer.Key == "":
			continue
		}
		if s.oddities == nil {
			s.oddities = map[string]bool{}
		}
		s.oddities[key] = true
		return t, err
	}
}

// odd says what a take, or the reason why there is none, looks like; nothing of a
// board in order.
func (s *Sitting) odd(step verdict.Step, before seen, t *Taken, err error) (oddity, error) {
	if patch := capture.Patch(step.Patch); patch != capture.ToBoard && patch != capture.Swapped {
		return oddity{}, nil
	}
	var refused *RefusedTake
	switch {
	case errors.As(err, &refused) && refused.Last != nil && silent(refused.Last):
		return oddity{"nothing", fmt.Sprintf("nothing comes back at %s: the board has no power or is dead, a lead is out, or the bench's output is turned down", s.inputWords())}, nil
	case err != nil:
		return oddity{}, nil
	}
	rec, err := s.Recording(t)
	if err != nil {
		return oddity{}, err
	}
	kinds := map[string]string{}
	var dead, changing []string
	for i, name := range rec.Outputs {
		if what := s.deadOutput(rec, i); what != "" {
			dead = append(dead, what)
			kinds["dead"] += " " + name
		} else if what := changes1kHz(rec, i, before); what != "" && isLinear(step, t.Signal.Kind) {
			changing = append(changing, "output "+name+" "+what)
			kinds["changing"] += " " + name
		}
	}
	switch {
	case len(dead) == len(rec.Outputs):
		return oddity{"nothing", strings.Join(dead, "; ") + ": the board has no power or is dead, or the lead to its input is out"}, nil
	case len(dead) > 0:
		return oddity{"dead" + kinds["dead"], strings.Join(dead, "; ") + ": that output is dead, its lead is out or in another input, or a joint is open"}, nil
	case len(changing) > 0:
		return oddity{"changing" + kinds["changing"], strings.Join(changing, "; ") + ": a compressor, drive, chorus or tremolo is engaged, or a joint is loose"}, nil
	}
	return oddity{}, nil
}

// silent is whether no channel of a take holds a signal.
func silent(p *capture.Proof) bool {
	for _, c := range p.Channels {
		if !strings.HasPrefix(c.Problem, "no signal") {
			return false
		}
	}
	return len(p.Channels) > 0
}

// deadOutput says that output i gives no signal, or next to none; "" if it does.
func (s *Sitting) deadOutput(rec *analysis.Recording, i int) string {
	name := fmt.Sprintf("output %s (input %d)", rec.Outputs[i], s.Patching[i].Input)
	if rec.Problems[i] != "" {
		return name + ": " + rec.Problems[i]
	}
	if over, ok := rec.OverLoopback(i); ok && over.Value < nothingDB {
		return fmt.Sprintf("%s is %.0f dB under the loopback lead", name, -over.Value)
	}
	return ""
}

// isLinear is whether a step is one for a board that is linear and stands still:
// a response is of no other, and with all bypassed nothing should change a tone
// but joints that are flexed.
func isLinear(step verdict.Step, kind testsignals.Kind) bool {
	return kind == testsignals.Sweep || strings.Contains(strings.ToLower(step.State), "bypassed") && !reads(step, analysis.DropOuts)
}

// changes1kHz says how the gain at 1 kHz of output i is not one and the same: at
// the take's two levels, from moment to moment, and at the level check; "" where
// it is.
func changes1kHz(rec *analysis.Recording, i int, before seen) string {
	if i < len(rec.MarkChangeDB) {
		if c := rec.MarkChangeDB[i]; math.Abs(c.Value) > changedDB+3*c.Std {
			return fmt.Sprintf("came back %+.1f dB at the end of the take against its beginning", c.Value)
		}
	}
	runIn, body, ok := rec.MomentGains(i)
	if !ok {
		return ""
	}
	if moves := slices.Max(body) - slices.Min(body); moves > changedDB {
		return fmt.Sprintf("moves by %.1f dB while a steady tone plays", moves)
	}
	if math.Abs(runIn-body[0]) > changedDB {
		return fmt.Sprintf("passes 1 kHz with %+.1f dB, and 12 dB quieter with %+.1f dB", body[0], runIn)
	}
	for _, then := range before[rec.Outputs[i]] {
		if math.Abs(then-body[0]) > changedDB {
			return fmt.Sprintf("passes 1 kHz with %+.1f dB, at the level check with %+.1f dB", body[0], then)
		}
	}
	return ""
}

// gainsSeen are the gains at 1 kHz of a level check's tone.
func (s *Sitting) gainsSeen(t *Taken) (seen, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return nil, err
	}
	all := seen{}
	for i, name := range rec.Outputs {
		if runIn, body, ok := rec.MomentGains(i); ok {
			all[name] = append(body, runIn)
		}
	}
	return all, nil
}
