package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) runsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "runs BOARD",
		Short: "List the runs of a board",
		Args:  exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenReading, args[0], func(w *workshop.Workshop, b db.Board) error {
				runs, err := w.Store.Runs(cmd.Context(), b.ID)
				if err != nil {
					return err
				}
				return a.show(append([]db.Run{}, runs...), func() error {
					a.printRuns(runs)
					return nil
				})
			})
		},
	}
}

func (a *app) printRuns(runs []db.Run) {
	if len(runs) == 0 {
		a.printf("no runs yet\n")
	}
	for _, r := range runs {
		var marks []string
		if r.Simulated {
			marks = append(marks, "SIMULATED")
		}
		if r.Corrects != "" {
			marks = append(marks, "corrects "+r.Corrects)
		}
		if r.Recomputes != "" {
			marks = append(marks, "computed again from "+r.Recomputes)
		}
		switch r.OriginID {
		case "":
		case r.ID:
			marks = append(marks, "imported")
		default:
			marks = append(marks, "imported, there "+r.OriginID)
		}
		if r.Notes != "" {
			marks = append(marks, r.Notes)
		}
		line := fmt.Sprintf("%s  %-16s  bench %s", local(r.Started), r.Verdict, report.Fitted(r.Bench, 12))
		remarks := strings.Join(marks, "; ")
		if utf8.RuneCountInString(r.ID+"  "+line+"  "+remarks) <= a.columns {
			line, remarks = line+"  "+remarks, ""
		}
		a.row(r.ID+"  ", line)
		if remarks != "" {
			a.wrapped("    ", remarks)
		}
	}
}

func (a *app) showCommand() *cobra.Command {
	var plots, budget, output string
	var all bool
	cmd := &cobra.Command{
		Use:   "show RUN",
		Short: "Show a run again, with its plots, or what an uncertainty consists of",
		Args:  exactArgs("a run's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				ctx := cmd.Context()
				if budget != "" {
					run, err := w.Store.FindRun(ctx, args[0])
					if err != nil {
						return err
					}
					return a.showBudgets(run, budget, output)
				}
				got, err := w.Run(ctx, args[0])
				switch {
				case err != nil:
					return err
				case output != "":
					return wrongUsef("--output goes with --budget QUANTITY")
				}
				return a.present(ctx, w, got, plots, all)
			})
		},
	}
	cmd.Flags().StringVar(&plots, "plots", "", "folder for the plots (default: beside the database)")
	cmd.Flags().BoolVar(&all, "all", false, "print every row of long lists")
	cmd.Flags().StringVar(&budget, "budget", "", "print what the uncertainty of this quantity consists of, as in level_match")
	cmd.Flags().StringVar(&output, "output", "", "with --budget: at this output only")
	return cmd
}

// showBudgets prints the budget of each reading of a quantity, at one output
// or, for "", at all.
func (a *app) showBudgets(run db.Run, quantity, output string) error {
	var rows []verdict.Judged
	var have []string
	for _, j := range run.Readings {
		switch {
		case j.Quantity != quantity:
			if !slices.Contains(have, j.Quantity) {
				have = append(have, j.Quantity)
			}
		case output == "" || strings.EqualFold(j.Output, output):
			rows = append(rows, j)
		}
	}
	switch {
	case len(rows) > 0:
	case slices.ContainsFunc(run.Readings, func(j verdict.Judged) bool { return j.Quantity == quantity }):
		return wrongUsef("run %s has no reading of %s at output %q", run.ID, quantity, output)
	default:
		slices.Sort(have)
		return wrongUsef("run %s has no reading of %q: it has %s", run.ID, quantity, strings.Join(have, ", "))
	}
	doc := runDocument(run, verdict.Plan{}, nil)
	doc.Readings, doc.Curves, doc.Refused = rows, nil, nil
	return a.show(doc, func() error {
		a.wrapped("", fmt.Sprintf("run %s, board %s, profile %s", run.ID, run.BoardAsWas.Label, run.ProfileID))
		a.printf("\n")
		return report.Budgets(a.out, rows)
	})
}
