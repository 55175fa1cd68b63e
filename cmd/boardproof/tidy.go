package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) tidyCommand() *cobra.Command {
	var years int
	cmd := &cobra.Command{
		Use:   "tidy",
		Short: "Throw away recordings that are no longer needed, after asking",
		Long: "Show in bytes what may be thrown away, and throw it away when that is answered with yes, or\n" +
			"with --yes: recordings that no run names, left by a sitting that was stopped, and with\n" +
			"--older-than N those of runs that ended more than N years ago, but for the run that a board\n" +
			"was delivered with. Runs, readings and curves always stay. A run without its recordings\n" +
			"says so, and cannot be computed again.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if years < 0 {
				return wrongUsef("--older-than %d: a number of years above 0", years)
			}
			return a.withWorkshop(cmd.Context(), db.OpenTidying, func(w *workshop.Workshop) error { return a.tidy(cmd.Context(), w, years) })
		},
	}
	cmd.Flags().IntVar(&years, "older-than", 0, "also recordings of runs that ended more than so many years ago (default: none)")
	return cmd
}

// tidyDocument is the JSON of tidy.
type tidyDocument struct {
	db.Tidying
	Bytes  int64 `json:"bytes"`
	Tidied bool  `json:"tidied"`
}

func (a *app) tidy(ctx context.Context, w *workshop.Workshop, years int) error {
	found, err := w.Tidiable(ctx, years)
	if err != nil {
		return err
	}
	doc := tidyDocument{Tidying: found, Bytes: found.Bytes()}
	nothing := len(found.Old)+len(found.Orphans)+len(found.Passing) == 0
	a.printTidiable(found, years)
	if !nothing {
		if doc.Tidied, err = w.Confirm(ctx, fmt.Sprintf("throw away %s? It cannot be undone.", inBytes(doc.Bytes))); err != nil {
			return err
		}
	}
	if doc.Tidied {
		if doc.Tidying, err = w.Tidy(ctx, found); err != nil {
			return err
		}
		if gone := doc.Tidying.Bytes(); gone != doc.Bytes {
			a.remark("stays, as it is needed by now: %s\n", inBytes(doc.Bytes-gone))
			doc.Bytes = gone
		}
	}
	return a.show(doc, func() error {
		if doc.Tidied {
			a.printf("thrown away: %s\n", inBytes(doc.Bytes))
		} else if !nothing {
			a.printf("nothing was thrown away\n")
		}
		return nil
	})
}

func (a *app) printTidiable(t db.Tidying, years int) {
	sum := func(files []db.TidyFile) (n int64) {
		for _, f := range files {
			n += f.Bytes
		}
		return n
	}
	of := map[string]bool{}
	var old []db.TidyFile
	for _, f := range t.Old {
		old = append(old, f.TidyFile)
		for _, r := range f.Of {
			of[r] = true
		}
	}
	if years > 0 {
		a.remark("recordings of runs older than %s: %d, of %s, %s\n", report.Count(years, "year"), len(old), report.Count(len(of), "run"), inBytes(sum(old)))
	}
	a.remark("recordings that no run names: %d, %s\n", len(t.Orphans), inBytes(sum(t.Orphans)))
	if len(t.Sittings) > 0 {
		a.remark("sittings that can be gone on with: %d; their recordings stay\n", len(t.Sittings))
	}
	a.remark("half-written files: %d, %s\n", len(t.Passing), inBytes(sum(t.Passing)))
}

// sayTidied says that a run's recordings were thrown away.
func (a *app) sayTidied(ctx context.Context, w *workshop.Workshop, run db.Run) error {
	n, err := w.TakesTidied(ctx, run)
	if err == nil && n > 0 {
		a.wrapped("", fmt.Sprintf("tidied away: %d of its %s; it cannot be computed again", n, report.Count(len(run.Takes), "recording")))
	}
	return err
}
