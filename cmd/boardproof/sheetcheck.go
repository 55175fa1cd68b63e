package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/report/sheet"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

// checkSheet holds a copy against the run that it names.
func (a *app) checkSheet(ctx context.Context, w *workshop.Workshop, path string) error {
	if strings.HasPrefix(path, codeBegins) {
		return a.checkCode(ctx, w, path)
	}
	file, err := readFile(path, largestSheet)
	if err != nil {
		return err
	}
	carried, err := sheet.Read(file)
	if err != nil {
		return wrongUsef("checking %s: %w", path, err)
	}
	source, err := sheetSource(ctx, w, carried.Run)
	if errors.Is(err, db.ErrNotFound) || err == nil && source.Run.ID != carried.Run {
		return wrongUsef("checking %s: it is of run %q, digest %.16s, which is not in this store: name the store that has it with --store", path, carried.Run, carried.Digest)
	}
	if err != nil {
		return err
	}
	got, err := sheet.Check(file, carried, source)
	if err != nil {
		return fmt.Errorf("checking %s: %w", path, err)
	}
	later, err := w.Corrections(ctx, source.Run)
	if err != nil {
		return err
	}
	if err := a.sayChecked(path, carried, source, got, later); err != nil {
		return err
	}
	switch got.Finding {
	case sheet.Genuine:
		return nil
	case sheet.OtherMaker:
		return &limitFailed{exitUnmeasured}
	}
	return &limitFailed{exitFailed}
}

// codeBegins is how the text of a label's code begins.
const codeBegins = "boardproof run "

// checkCode holds the text of a label's code against the run that it names.
func (a *app) checkCode(ctx context.Context, w *workshop.Workshop, code string) error {
	words := strings.Fields(strings.TrimPrefix(code, codeBegins))
	if len(words) != 2 {
		return wrongUsef("checking %q: a label's code is \"%sRUN DIGEST\"", code, codeBegins)
	}
	source, err := sheetSource(ctx, w, words[0])
	if err != nil {
		return err
	}
	later, err := w.Corrections(ctx, source.Run)
	if err != nil {
		return err
	}
	got := sheet.Checked{Finding: sheet.Genuine}
	if code != source.Identity() {
		got = sheet.Checked{Finding: sheet.OtherRun, Why: []string{fmt.Sprintf("the code says digest %s, the store has %.16s", words[1], source.Digest)}}
	}
	carried := sheet.Carried{Run: words[0], Digest: words[1], Options: sheet.Options{Kind: "code"}}
	if err := a.sayChecked(code, carried, source, got, later); err != nil || got.Finding == sheet.Genuine {
		return err
	}
	return &limitFailed{exitFailed}
}

var findingWords = map[sheet.Finding]string{
	sheet.Genuine:    "GENUINE: this is, byte for byte, what the store's run gives",
	sheet.Altered:    "ALTERED: this is not the sheet that was made of the run; do not rely on it",
	sheet.OtherRun:   "NOT THIS STORE'S RUN: the store has a run of that name, and it is another one",
	sheet.OtherMaker: "ONLY PARTLY CHECKED: another version of boardproof made this; make it anew to compare",
}

func (a *app) sayChecked(path string, c sheet.Carried, s sheet.Source, got sheet.Checked, later []string) error {
	doc := struct {
		Format    string        `json:"format"`
		Simulated bool          `json:"simulated"`
		File      string        `json:"file"`
		Run       string        `json:"run"`
		Digest    string        `json:"digest"`
		Options   sheet.Options `json:"options"`
		sheet.Checked
		CorrectedBy []string `json:"corrected_by,omitempty"`
	}{report.Format, s.Run.Simulated, path, c.Run, c.Digest, c.Options, got, later}
	return a.show(doc, func() error {
		a.printChecked(c, s, got, later)
		return nil
	})
}

func (a *app) printChecked(c sheet.Carried, s sheet.Source, got sheet.Checked, later []string) {
	words := findingWords[got.Finding]
	if c.Options.Kind == "code" && got.Finding == sheet.Genuine {
		words = "GENUINE: the store has this very run"
	}
	a.wrapped("", words)
	for _, why := range got.Why {
		a.wrapped("  ", why)
	}
	a.wrapped("", fmt.Sprintf("%s of run %s, board %s, %s, verdict %s", c.Options.Kind, s.Run.ID, s.Run.BoardAsWas.Label, local(s.Run.Started), s.Run.Verdict))
	if c.Options.Workshop != "" {
		a.wrapped("", fmt.Sprintf("its line “%s” is as it was given; no store keeps it", c.Options.Workshop))
	}
	if s.Run.Simulated {
		a.printf("SIMULATED: no real board was measured\n")
	}
	for _, id := range later {
		a.wrapped("", fmt.Sprintf("run %s is to be read instead of it", id))
	}
}
