package workshop

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture/wavtake"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// RecordedHuntRequest asks for a hum hunt through recordings made elsewhere.
type RecordedHuntRequest struct {
	// Board to Notes and Without are as in a HuntRequest.
	Board, Name, Operator, Notes string
	Without                      []string
	// Recorded are silences, each as in "as found:FILE.wav".
	Recorded []string
	// Patch says which channel holds which output.
	Patch          []calibration.Patching
	InputFullScale FullScale
	// Ready is as in an AcceptRequest.
	Ready func() error
}

// HuntRecorded hunts through recordings made elsewhere and keeps the hunt.
func (w *Workshop) HuntRecorded(ctx context.Context, r RecordedHuntRequest) (*db.Hunt, error) {
	board, err := w.Store.FindBoard(ctx, r.Board)
	if err != nil {
		return nil, err
	}
	if r.Ready != nil {
		if err := r.Ready(); err != nil {
			return nil, err
		}
	}
	setup, err := huntSetup(board, r.Without, false)
	if err != nil {
		return nil, err
	}
	for _, p := range r.Patch {
		if !slices.Contains(board.Outputs, p.Output) {
			return nil, fieldf("outputs", ": board %s has no output %q, it has %s", board.Label, p.Output, strings.Join(board.Outputs, ", "))
		}
	}
	all, err := openConditions(r.Recorded, setup, r.Patch)
	if err != nil {
		return nil, err
	}
	note := recordedNote(r.InputFullScale.Said)
	h := &procedure.Hunt{Sitting: &procedure.Sitting{Patching: r.Patch, Person: w.Person, Now: w.Now}, Board: setup}
	kept := db.Hunt{BoardID: board.ID, Name: r.Name, Operator: r.Operator, Started: w.Now(), Setup: setup, Notes: joinNotes(r.Notes, note)}
	w.Person.Tell(ctx, talk.Remark{Severity: talk.Note, Text: note})
	for _, c := range all {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := h.AddRecorded(ctx, c.file, c.Condition, r.InputFullScale.volts()); err != nil {
			return nil, unmeasured(fmt.Errorf("reading %s: %w", c.path, err))
		}
	}
	kept.Finding = hunt.Find(setup, h.Readings())
	kept, err = w.keepHunt(ctx, kept, h)
	if err != nil {
		return nil, err
	}
	return &kept, nil
}

func recordedNote(inputFullScale string) string {
	if inputFullScale == "" {
		return "recorded elsewhere, no full scale known: levels are under the files' full scale, changes are as good as ever"
	}
	return "recorded elsewhere: levels are as exact as the --input-full-scale of " + inputFullScale + ", of which nothing is known"
}

// recordedCondition is one --recorded.
type recordedCondition struct {
	hunt.Condition
	path string
	file *wavtake.Wavtake
}

// openConditions reads the conditions and opens their files, before anything is
// measured.
func openConditions(texts []string, setup hunt.Board, patch []calibration.Patching) ([]recordedCondition, error) {
	var all []recordedCondition
	for _, text := range texts {
		words, path, ok := strings.Cut(text, ":")
		if !ok || strings.TrimSpace(path) == "" {
			return nil, fieldf("recorded", " %q is not CONDITION:FILE.wav, as in \"as found:a.wav\"", text)
		}
		c, err := procedure.ParseCondition(words, setup)
		if err != nil {
			return nil, fieldf("recorded", ": %w", err)
		}
		file, err := openRecorded(path, patch)
		if err != nil {
			return nil, err
		}
		all = append(all, recordedCondition{c, path, file})
	}
	if !slices.ContainsFunc(all, func(r recordedCondition) bool { return r.Condition == hunt.AsFound }) {
		return nil, invalidf("nothing is recorded as found to compare with: --recorded \"as found:FILE.wav\"")
	}
	return all, nil
}
