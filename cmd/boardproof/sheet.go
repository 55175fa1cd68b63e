package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/report/sheet"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type sheetFlags struct {
	paper, out, workshop, check string
	bench                       bool
}

func (a *app) sheetCommand() *cobra.Command {
	var f sheetFlags
	cmd := &cobra.Command{
		Use:   "sheet RUN | sheet --check FILE",
		Short: "Make the paper that goes with a board, or check a copy of one",
		Long: "Make the player's sheet of a run, as PDF to print and as HTML that needs nothing beside it.\n" +
			"--bench-copy makes the record with every reading instead. The same run gives the same\n" +
			"file, byte for byte, so --check can tell whether a copy was changed: it makes the sheet\n" +
			"again and compares. It ends with 0 for a genuine copy, 1 for one that does not agree with\n" +
			"the store, 3 where another version of boardproof made it and only its figures could be\n" +
			"compared.",
		Args: atMostOne("a run's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				switch {
				case f.check != "" && len(args) == 0:
					return a.checkSheet(cmd.Context(), w, f.check)
				case f.check == "" && len(args) == 1:
					return a.makeSheets(cmd.Context(), w, args[0], f)
				}
				return wrongUsef("'%s' takes a run's name, or --check FILE alone", cmd.CommandPath())
			})
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.paper, "paper", sheet.A4, "the PDF's paper: a4 or letter")
	fl.BoolVar(&f.bench, "bench-copy", false, "the record with every reading, its uncertainty and the recordings")
	fl.StringVar(&f.workshop, "workshop", "", "a line for the head of the sheet: who gives it, where to be found")
	fl.StringVar(&f.out, "out", "", "a file ending in .pdf or .html, or a folder (default: beside the database)")
	fl.StringVar(&f.check, "check", "", "check a copy, PDF or HTML, or the text of a label's code, against this store")
	return cmd
}

func (a *app) makeSheets(ctx context.Context, w *workshop.Workshop, name string, f sheetFlags) error {
	kind, suffix := sheet.Player, ""
	if f.bench {
		kind, suffix = sheet.Bench, "-bench"
	}
	if f.paper != sheet.A4 && f.paper != sheet.Letter {
		return wrongUsef("--paper %q is neither a4 nor letter", f.paper)
	}
	source, err := sheetSource(ctx, w, name)
	if err != nil {
		return err
	}
	var wanted []paperFile
	for _, form := range []string{sheet.PDF, sheet.HTML} {
		o := sheet.Options{Kind: kind, Form: form, Workshop: f.workshop}
		if form == sheet.PDF {
			o.Paper = f.paper
		}
		wanted = append(wanted, paperFile{path: defaultPath(w.Store, source.Run, suffix, form), options: o})
	}
	return a.writePapers(source, wanted, f.out)
}

// sheetSource is a run with all that its sheet is made from.
func sheetSource(ctx context.Context, w *workshop.Workshop, name string) (sheet.Source, error) {
	p, err := w.Paper(ctx, name)
	source := sheet.Source{Run: p.Run, Digest: p.Digest, Plan: p.Plan, PlanVersion: p.PlanVersion, Profile: p.Profile}
	if err == nil {
		sheetPlots(&source)
	}
	return source, err
}

// sheetPlots chooses what is drawn: the first state that was measured, against
// the plan's first set of masks.
func sheetPlots(s *sheet.Source) {
	head := report.Heading{Bare: true}
	if c := firstState(curvesOf(s.Run, analysis.Response)); len(c) > 0 {
		s.Response = &report.ResponsePlot{Heading: head, Curves: c}
		if sets := report.PlanMasks(masksOf(s.Plan)); len(sets) > 0 {
			s.Response.Masks, s.Response.RelativeToHz = sets[0].Masks, sets[0].RelativeToHz
		}
	}
	if c := curvesOf(s.Run, analysis.NoiseDensity); len(c) > 0 {
		s.Noise = &report.NoisePlot{Heading: head, Curves: firstState(c), Lines: linesIn(s.Run, c[0].State), Floor: floorCurve(s.Profile)}
	}
}

// firstState are the curves of the first curve's state, which is not named
// any more: the sheet names it once.
func firstState(curves []analysis.Curve) []analysis.Curve {
	var first []analysis.Curve
	for _, c := range curves {
		if c.State == curves[0].State {
			c.State = ""
			first = append(first, c)
		}
	}
	return first
}

// linesIn are the mains harmonics and tones read in a state, likewise.
func linesIn(run db.Run, state string) []analysis.Reading {
	var in []analysis.Reading
	for _, r := range linesOf(run) {
		if r.State == state {
			r.State = ""
			in = append(in, r)
		}
	}
	return in
}

// paperFile is a file to be written.
type paperFile struct {
	path    string
	options sheet.Options
	data    []byte
}

// defaultPath names a paper by its board and run, in a folder beside the
// database.
func defaultPath(s *db.Store, run db.Run, suffix, form string) string {
	return filepath.Join(s.Path()+".sheets", fileStem(run.BoardAsWas.Label)+"-"+run.ID+suffix+"."+form)
}

// fileStem makes a label part of a file's name.
func fileStem(label string) string {
	const longest = 40
	stem := strings.FieldsFunc(strings.ToLower(report.OneLine(label)), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	runes := []rune(strings.Join(stem, "-"))
	if len(runes) == 0 {
		return "board"
	}
	return strings.Trim(string(runes[:min(len(runes), longest)]), "-")
}

// placed puts papers where --out says: into a folder, or one of them into one
// file.
func placed(wanted []paperFile, out string) ([]paperFile, error) {
	ext := strings.ToLower(filepath.Ext(out))
	info, err := os.Stat(out)
	switch {
	case out == "":
		return wanted, nil
	case err == nil && info.IsDir(), ext == "":
		for i := range wanted {
			wanted[i].path = filepath.Join(out, filepath.Base(wanted[i].path))
		}
		return wanted, nil
	}
	i := slices.IndexFunc(wanted, func(p paperFile) bool { return "."+p.options.Form == ext })
	if i < 0 {
		return nil, wrongUsef("--out %s: the name of a file must end in .%s, or name a folder", out, formsOf(wanted))
	}
	wanted[i].path = out
	return wanted[i : i+1], nil
}

func formsOf(wanted []paperFile) string {
	var forms []string
	for _, p := range wanted {
		if !slices.Contains(forms, p.options.Form) {
			forms = append(forms, p.options.Form)
		}
	}
	return strings.Join(forms, " or .")
}

// writePapers makes all papers before it writes the first.
func (a *app) writePapers(s sheet.Source, wanted []paperFile, out string) error {
	wanted, err := placed(wanted, out)
	if err != nil {
		return err
	}
	for i, p := range wanted {
		if err := mayReplace(p.path, s.Run.ID); err != nil {
			return err
		}
		o := p.options.In(s.Run.Started, a.now().Location())
		if wanted[i].data, err = sheet.Make(s, o); err != nil {
			return fmt.Errorf("making the %s of run %s: %w", o.Kind, s.Run.ID, err)
		}
	}
	for _, p := range wanted {
		if err := writePaper(p); err != nil {
			return err
		}
	}
	return a.sayPapers(s, wanted)
}

// mayReplace says whether a file may be written: where there is none, or one
// of the same run.
func mayReplace(path, run string) error {
	old, err := readFile(path, largestSheet)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if c, err := sheet.Read(old); err != nil || c.Run != run {
		return wrongUsef("%s is there already and is no sheet of run %s: name another file with --out", path, run)
	}
	return nil
}

func writePaper(p paperFile) error {
	err := os.MkdirAll(filepath.Dir(p.path), 0o755)
	if err == nil {
		err = report.Replace([]string{p.path}, [][]byte{p.data})
	}
	if err != nil {
		return wrongUsef("writing %s: %w: name another place with --out", p.path, err)
	}
	return nil
}

// paperInfo is what the JSON says of a file.
type paperInfo struct {
	Path   string     `json:"path"`
	Kind   sheet.Kind `json:"kind"`
	Form   string     `json:"form"`
	Paper  string     `json:"paper,omitempty"`
	SHA256 string     `json:"sha256"`
}

func (a *app) sayPapers(s sheet.Source, made []paperFile) error {
	doc := struct {
		Format    string      `json:"format"`
		Simulated bool        `json:"simulated"`
		Run       string      `json:"run"`
		Digest    string      `json:"digest"`
		Identity  string      `json:"identity"`
		Files     []paperInfo `json:"files"`
	}{report.Format, s.Run.Simulated, s.Run.ID, s.Digest, s.Identity(), nil}
	for _, p := range made {
		sum := sha256.Sum256(p.data)
		doc.Files = append(doc.Files, paperInfo{p.path, p.options.Kind, p.options.Form, p.options.Paper, hex.EncodeToString(sum[:])})
	}
	return a.show(doc, func() error {
		if s.Run.Simulated {
			a.printf("SIMULATED: each page says so\n")
		}
		for _, p := range made {
			a.printf("%s: %s\n", p.options.Kind, p.path)
		}
		a.printf("run: %s\ndigest: %s\n", s.Run.ID, s.Digest)
		return nil
	})
}
