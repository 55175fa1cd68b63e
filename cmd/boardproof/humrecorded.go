package main

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

// recordedCondition is one --recorded.
type recordedCondition struct {
	hunt.Condition
	path string
	file *wavtake.Wavtake
}

// huntRecorded hunts through recordings made elsewhere.
func (a *app) huntRecorded(ctx context.Context, s *db.Store, board db.Board, f huntFlags) error {
	setup, err := f.setup(board, false)
	if err != nil {
		return err
	}
	patch, err := parseOutputs(f.outputs)
	if err != nil {
		return err
	}
	for _, p := range patch {
		if !slices.Contains(board.Outputs, p.Output) {
			return wrongUsef("--outputs: board %s has no output %q, it has %s", board.Label, p.Output, strings.Join(board.Outputs, ", "))
		}
	}
	var volts float64
	if f.inputFullScale != "" {
		full, err := parseUnit(f.inputFullScale, "dBu")
		if err != nil {
			return wrongUsef("--input-full-scale: %w", err)
		}
		volts = calibration.VoltsPerUnit(full)
	}
	all, err := openRecorded(f.recorded, setup, patch)
	if err != nil {
		return err
	}
	h := &procedure.Hunt{Sitting: &procedure.Sitting{Patching: patch, Person: a.talk(), Now: a.now}, Board: setup}
	kept := db.Hunt{BoardID: board.ID, Name: f.name, Operator: f.operator, Started: a.now(), Setup: setup,
		Notes: joinNotes(f.notes, recordedNote(f.inputFullScale))}
	a.talk().Tell(ctx, talk.Remark{Severity: talk.Note, Text: recordedNote(f.inputFullScale)})
	for _, r := range all {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := h.AddRecorded(ctx, r.file, r.Condition, volts); err != nil {
			return unmeasured(fmt.Errorf("reading %s: %w", r.path, err))
		}
	}
	kept.Finding = hunt.Find(setup, h.Readings())
	kept, err = a.keepHunt(ctx, s, kept, h)
	if err != nil {
		return err
	}
	return a.presentHunt(s, kept, f.plots, false)
}

func recordedNote(inputFullScale string) string {
	if inputFullScale == "" {
		return "recorded elsewhere, no full scale known: levels are under the files' full scale, changes are as good as ever"
	}
	return "recorded elsewhere: levels are as exact as the --input-full-scale of " + inputFullScale + ", of which nothing is known"
}

// openRecorded reads the conditions and opens their files, before anything is
// measured.
func openRecorded(texts []string, setup hunt.Board, patch []calibration.Patching) ([]recordedCondition, error) {
	var all []recordedCondition
	for _, text := range texts {
		words, path, ok := strings.Cut(text, ":")
		if !ok || strings.TrimSpace(path) == "" {
			return nil, wrongUsef("--recorded %q is not CONDITION:FILE.wav, as in \"as found:a.wav\"", text)
		}
		c, err := procedure.ParseCondition(words, setup)
		if err != nil {
			return nil, wrongUsef("--recorded: %w", err)
		}
		file, err := wavtake.Open(path)
		if err != nil {
			return nil, wrongUse(err)
		}
		for _, p := range patch {
			if n := file.Describe().Inputs; p.Input > n {
				return nil, wrongUsef("%s has channels 1 to %d, output %s cannot be channel %d: correct --outputs", path, n, p.Output, p.Input)
			}
		}
		all = append(all, recordedCondition{c, path, file})
	}
	if !slices.ContainsFunc(all, func(r recordedCondition) bool { return r.Condition == hunt.AsFound }) {
		return nil, wrongUsef("nothing is recorded as found to compare with: --recorded \"as found:FILE.wav\"")
	}
	return all, nil
}
