package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

const (
	// leadDB is how near to the bench's own loopback a gain must be, beside its
	// uncertainty, for it to be the loopback lead: what a lead that was out and
	// is in again may differ by, as in the check before use.
	leadDB = 0.02
	// leadK times the standard uncertainty is allowed beside it.
	leadK = 3.0
	// A lead is flat in this band; a board has a capacitor in its way.
	leadLowHz, leadHighHz = 20.0, 20000.0
	// leadSweepS is as short as a sweep can be that shows 20 Hz.
	leadSweepS = 1.5
)

// errLeadLeft is that the loopback lead is in where the board should be.
var errLeadLeft = errors.New("what comes back is the loopback lead, not a board")

// LeadLeft says whether err is that the loopback lead was left in.
func LeadLeft(err error) bool { return errors.Is(err, errLeadLeft) }

// boardMissing asks where what came back is just what the loopback lead gives.
// again is true where the board is patched in now and the take is worth nothing.
// It is asked once a sitting.
func (s *Sitting) boardMissing(ctx context.Context, t *Taken, patch capture.Patch, state string) (again bool, err error) {
	if s.boardSeen || s.Profile == nil || patch != capture.ToBoard && patch != capture.Swapped {
		return false, nil
	}
	like, err := s.gainOfLead(t)
	if err != nil {
		return false, err
	}
	words := ""
	if like {
		if words, like, err = s.flatAsLead(ctx, t.Signal.LevelDBFS, patch, state); err != nil {
			return false, err
		}
	}
	switch {
	case !like:
		s.boardSeen = true
		return false, nil
	case s.BoardIn:
		return false, s.takeForBoard(words)
	}
	answer, err := s.Person.Ask(ctx, talk.Question{Kind: talk.Choose, Prompt: fmt.Sprintf("%v: %s. Is the board really in?", errLeadLeft, words), Flag: "board-in",
		Choices: []talk.Choice{
			{Key: "", Means: "measure again: the board is patched in now, the output to its input, its outputs to " + s.inputWords()},
			{Key: "w", Means: "go on: a board is in, and it passes the signal like a wire"},
		}})
	switch {
	case errors.Is(err, talk.ErrNobody):
		return false, fmt.Errorf("%w: %s: patch the board in and start again; where a board is in that passes the signal like a wire, say --board-in", errLeadLeft, words)
	case err != nil:
		return false, err
	case answer.Key == "w":
		return false, s.takeForBoard(words)
	}
	return true, nil
}

// takeForBoard goes on with what passes like a lead, on the operator's word.
func (s *Sitting) takeForBoard(words string) error {
	s.boardSeen = true
	s.likeLead = "passes the signal like the loopback lead (" + words + "); a board was in, as the operator says"
	return nil
}

// LikeLead is what to note of a board that could not be told from the loopback
// lead, "" of any other.
func (s *Sitting) LikeLead() string { return s.likeLead }

// gainOfLead is whether all that came back has the gain of the loopback.
func (s *Sitting) gainOfLead(t *Taken) (bool, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return false, err
	}
	any := false
	for i := range rec.Outputs {
		if rec.Problems[i] != "" {
			continue
		}
		over, ok := rec.OverLoopback(i)
		if !ok || math.Abs(over.Value) > math.Max(leadDB, leadK*over.Std) {
			return false, nil
		}
		any = true
	}
	return any, nil
}

// flatAsLead plays a short sweep and holds it against the loopback.
func (s *Sitting) flatAsLead(ctx context.Context, levelDBFS float64, patch capture.Patch, state string) (words string, like bool, err error) {
	spec := testsignals.New(testsignals.Sweep, s.Instrument.Describe().RateHz, levelDBFS, leadSweepS)
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return "", false, err
	}
	var take *capture.Take
	var proof *capture.Proof
	for try := 1; ; try++ {
		if take, err = s.record(ctx, "is the board in? a short sweep", sig, patch, state); err != nil {
			return "", false, err
		}
		proof, err = capture.Check(take, sig, capture.Expect{})
		var bad *capture.BadTake
		if !errors.As(err, &bad) || !bad.ByComputer() || try == maxComputerTries {
			break
		}
	}
	var bad *capture.BadTake
	if errors.As(err, &bad) {
		return "the gain at 1 kHz is the lead's, and a sweep could not be had: " + bad.Error(), true, nil
	}
	if err != nil {
		return "", false, err
	}
	rec, err := s.Recording(&Taken{Signal: sig, Take: take, Proof: proof})
	if err != nil {
		return "", false, err
	}
	worst := 0.0
	for i := range rec.Outputs {
		db, u, ok := rec.Departure(i, leadLowHz, leadHighHz)
		if !ok {
			continue
		}
		if math.Abs(db) > math.Max(leadDB, leadK/2*u) {
			return "", false, nil
		}
		worst = math.Max(worst, math.Abs(db))
	}
	return fmt.Sprintf("the bench's own gain within %.3f dB from %g Hz to %g kHz", worst, leadLowHz, leadHighHz/1000), true, nil
}
