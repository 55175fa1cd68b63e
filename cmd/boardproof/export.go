package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type exportFlags struct{ out, csv string }

func (a *app) exportCommand() *cobra.Command {
	var f exportFlags
	cmd := &cobra.Command{
		Use:   "export BOARD --out FILE | export RUN --csv PATH | export RUN --out FILE.json",
		Short: "Write a board's whole life as one archive file, or a run's figures as CSV or JSON",
		Long: "With a board: its plans, profiles, runs, readings, curves, takes, service and hunts as one file\n" +
			"that 'boardproof import' takes in elsewhere. The same life gives the same file, byte for byte.\n" +
			"With a run and --csv: its readings and its curves as two CSV files, in a folder, or as\n" +
			"PATH.csv and PATH-curves.csv. With a run and --out FILE.json: the same as JSON.\n" +
			"Nothing is written over.",
		Args: exactArgs("a board's label or a run's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error { return a.export(cmd.Context(), w, args[0], f) })
		},
	}
	cmd.Flags().StringVar(&f.out, "out", "", "the archive to write; a name ending in .json for a run")
	cmd.Flags().StringVar(&f.csv, "csv", "", "the folder, or the file ending in .csv, for a run's readings and curves")
	return cmd
}

func (a *app) export(ctx context.Context, w *workshop.Workshop, name string, f exportFlags) error {
	switch {
	case (f.out == "") == (f.csv == ""):
		return wrongUsef("name what to write: --out FILE for a board's archive, --csv PATH or --out FILE.json for a run")
	case f.csv != "":
		run, err := w.Store.FindRun(ctx, name)
		if err != nil {
			return err
		}
		return a.exportCSV(run, f.csv)
	case strings.HasSuffix(strings.ToLower(f.out), ".json"):
		return a.exportJSON(ctx, w, name, f.out)
	}
	board, err := w.Store.FindBoard(ctx, name)
	if err != nil {
		return err
	}
	return a.exportBoard(ctx, w, board, f.out)
}

// exportCSV writes two files: path is a folder, or the first of them.
func (a *app) exportCSV(run db.Run, path string) error {
	readings, curves := filepath.Join(path, run.ID+"-readings.csv"), filepath.Join(path, run.ID+"-curves.csv")
	if base, isFile := strings.CutSuffix(path, ".csv"); isFile {
		readings, curves = path, base+"-curves.csv"
	} else if err := os.MkdirAll(path, 0o755); err != nil {
		return wrongUsef("making the folder %s: %w", path, err)
	}
	if _, err := os.Lstat(curves); err == nil {
		return wrongUsef("%s is there already: name a file that is not", curves)
	}
	if err := newFile(readings, func(w io.Writer) error { return report.WriteCSV(w, report.ReadingRows(run)) }); err != nil {
		return err
	}
	if err := newFile(curves, func(w io.Writer) error { return report.WriteCSV(w, report.CurveRows(run)) }); err != nil {
		return err
	}
	return a.wrote(readings, curves)
}

func (a *app) exportJSON(ctx context.Context, w *workshop.Workshop, name, path string) error {
	run, plan, err := w.RunWithPlan(ctx, name)
	if err != nil {
		return err
	}
	err = newFile(path, func(to io.Writer) error { return report.Write(report.Seen{To: to}, runDocument(run, plan, nil)) })
	if err != nil {
		return err
	}
	return a.wrote(path)
}

// exportedArchive is what the JSON says of an archive that was written.
type exportedArchive struct {
	Path    string   `json:"path"`
	Board   string   `json:"board"`
	UID     string   `json:"uid"`
	SHA256  string   `json:"sha256"`
	Bytes   int64    `json:"bytes"`
	Takes   int      `json:"takes"`
	Missing []string `json:"missing,omitempty"`
}

func (a *app) exportBoard(ctx context.Context, w *workshop.Workshop, board db.Board, path string) error {
	sum := sha256.New()
	var m db.Manifest
	err := newFile(path, func(to io.Writer) (err error) {
		m, err = w.Export(ctx, board, io.MultiWriter(to, sum))
		return err
	})
	if err != nil {
		return err
	}
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("looking at what was written: %w", err)
	}
	done := exportedArchive{path, board.Label, board.UID, hex.EncodeToString(sum.Sum(nil)), info.Size(), len(m.Files) - 1, m.Missing}
	return a.show(done, func() error {
		a.printf("board %s: %s, %s, %s\n", board.Label, path, report.Count(done.Takes, "take"), inBytes(done.Bytes))
		a.printf("sha256 %s\n", done.SHA256)
		a.sayMissing(m.Missing)
		return nil
	})
}

func (a *app) sayMissing(missing []string) {
	if len(missing) > 0 {
		a.wrapped("", fmt.Sprintf("without %s that runs name, tidied away or lost: readings and curves are whole, but cannot be computed again", report.Count(len(missing), "take")))
	}
}

// newFile writes a file that is not there yet, whole or not at all.
func newFile(path string, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return wrongUsef("%s is there already: name a file that is not", path)
	}
	tmp, err := report.CreateUnfinished(path)
	if err != nil {
		return wrongUsef("writing %s: %w", path, err)
	}
	if err := write(tmp); err != nil {
		return fmt.Errorf("writing %s: %w", path, errors.Join(err, tmp.GiveUp()))
	}
	if err := tmp.Finish(); err != nil {
		return fmt.Errorf("writing %s: %w", path, errors.Join(err, os.Remove(tmp.Name())))
	}
	if err := nameFile(tmp.Name(), path); err != nil {
		os.Remove(tmp.Name()) //nolint:errcheck // there is an error to tell already
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}

// nameFile gives a passing file a name that nothing has, even where another
// program takes it in this moment; some sticks and shares know no second name.
func nameFile(passing, path string) error {
	err := os.Link(passing, path)
	if err == nil {
		return os.Remove(passing)
	}
	if _, there := os.Lstat(path); there == nil {
		return wrongUsef("%s is there already: name a file that is not", path)
	}
	return os.Rename(passing, path)
}

// wrote says which files were written.
func (a *app) wrote(paths ...string) error {
	return a.show(map[string][]string{"written": paths}, func() error {
		for _, p := range paths {
			a.printf("%s\n", p)
		}
		return nil
	})
}

// inBytes is a size for people.
func inBytes(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}
