package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"boardproof/analysis/change"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type compareFlags struct {
	workshop.CompareRequest
	plots string
	all   bool
}

func (a *app) compareCommand() *cobra.Command {
	var f compareFlags
	cmd := &cobra.Command{
		Use:   "compare BOARD",
		Short: "Say what has changed on a board between two of its runs, and whether it is real",
		Long: "Hold the latest run against the board as it was delivered, or any two runs against one\n" +
			"another: each reading with its difference and how uncertain that is, the curves, the\n" +
			"chain, the plan and the profile. What is real comes first, in words. Of a board that was\n" +
			"delivered more than once the first time counts: '--delivery last' takes what has changed\n" +
			"since its latest service instead.",
		Args: exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(cmd.Flags().Changed("delivery")); err != nil {
				return err
			}
			f.Board = args[0]
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error { return a.compare(cmd.Context(), w, f) })
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.Then, "then", "", "the earlier run (default: as delivered, with which it went out, or the first that passed)")
	fl.StringVar(&f.Delivery, "delivery", workshop.FirstDelivery, "which time it went out to hold it against: first, or last for since its latest service")
	fl.StringVar(&f.Now, "now", "", "the later run (default: the latest)")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	fl.BoolVar(&f.all, "all", false, "print every row")
	return cmd
}

func (f compareFlags) check(deliveryGiven bool) error {
	switch {
	case f.Delivery != workshop.FirstDelivery && f.Delivery != workshop.LastDelivery:
		return wrongUsef("--delivery %q: give first or last, or name a run with --then", f.Delivery)
	case deliveryGiven && f.Then != "":
		return wrongUsef("--then and --delivery both say what to hold against: give one of them")
	}
	return nil
}

func (a *app) compare(ctx context.Context, w *workshop.Workshop, f compareFlags) error {
	if f.plots != "" {
		f.Ready = func() error { return makePlotsDir(f.plots) }
	}
	c, err := w.Compare(ctx, f.CompareRequest)
	if err != nil {
		return err
	}
	paths, drawErr := drawDifferences(plotsDir(w.Store, f.plots, c.Then.ID+"-"+c.Now.ID), c.Board, c.Then, c.Now, c.Comparison)
	drawErr = a.drawn(f.plots, drawErr)
	notes := compareNotes(c)
	doc := compareDocument{report.Format, c.Then.Simulated, c.Board, infoOf(c.Then, nil), infoOf(c.Now, paths), c.Ties, c.Between, notes, c.Comparison}
	return errors.Join(a.show(doc, func() error { return a.printCompared(c, notes, paths, f.all) }), drawErr)
}

// compareNotes say what was compared, and what was not.
func compareNotes(c *workshop.Compared) (notes []string) {
	if c.LeftAside > 0 {
		notes = append(notes, fmt.Sprintf("left aside: %s of this board", report.Count(c.LeftAside, "simulated run")))
	}
	if c.How != "" {
		notes = append(notes, c.How)
	}
	return notes
}

func (a *app) printCompared(c *workshop.Compared, notes, plots []string, all bool) error {
	a.wrapped("", fmt.Sprintf("board %s: then run %s of %s, now run %s of %s", c.Board.Label, c.Then.ID, local(c.Then.Started), c.Now.ID, local(c.Now.Started)))
	for _, n := range append(notes, c.Between...) {
		a.wrapped("  ", n)
	}
	a.printf("\n")
	if err := report.Compared(a.out, c.Comparison, report.CompareOptions{Simulated: c.Then.Simulated, All: all}); err != nil {
		return err
	}
	a.printPlots(plots)
	return nil
}

// compareDocument is a comparison as JSON.
type compareDocument struct {
	Format    string      `json:"format"`
	Simulated bool        `json:"simulated"`
	Board     db.Board    `json:"board"`
	Then      runInfo     `json:"then"`
	Now       runInfo     `json:"now"`
	Common    change.Ties `json:"common"`
	// Between says what else is different: chain, plan, profile, bench.
	Between []string `json:"between"`
	Notes   []string `json:"notes,omitempty"`
	change.Comparison
}

func infoOf(r db.Run, plots []string) runInfo {
	return runInfo{ID: r.ID, Bench: r.Bench, Operator: r.Operator, Started: r.Started, Finished: r.Finished,
		Method: r.MethodVersion, Corrects: r.Corrects, Verdict: r.Verdict, Notes: r.Notes, PlotsDrawn: plots}
}
