package main

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/db"
)

func (a *app) runsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "runs BOARD",
		Short: "List the runs of a board",
		Args:  exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd.Context(), func(s *db.Store) error {
				b, err := s.FindBoard(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				runs, err := s.Runs(cmd.Context(), b.ID)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(append([]db.Run{}, runs...))
				}
				a.printRuns(runs)
				return nil
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
		if r.Notes != "" {
			marks = append(marks, r.Notes)
		}
		line := fmt.Sprintf("%s  %s  %-16s  bench %-12.12s", r.ID, local(r.Started), r.Verdict, r.Bench)
		remarks := strings.Join(marks, "; ")
		if utf8.RuneCountInString(line+"  "+remarks) <= pageColumns {
			a.printf("%s\n", strings.TrimRight(line+"  "+remarks, " "))
			continue
		}
		a.printf("%s\n", line)
		a.wrapped("    ", remarks)
	}
}

func (a *app) showCommand() *cobra.Command {
	var plots string
	var all bool
	cmd := &cobra.Command{
		Use:   "show RUN",
		Short: "Show a run again, with its plots",
		Args:  exactArgs("a run's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd.Context(), func(s *db.Store) error {
				ctx := cmd.Context()
				run, err := s.FindRun(ctx, args[0])
				if err != nil {
					return err
				}
				var plan verdict.Plan
				if run.PlanID != 0 {
					kept, err := s.Plan(ctx, run.PlanID)
					if err != nil {
						return err
					}
					if plan, err = verdict.ParsePlan([]byte(kept.Text)); err != nil {
						return err
					}
				}
				profile, err := s.Profile(ctx, run.ProfileID)
				if err != nil {
					return err
				}
				return a.present(s, run, plan, &profile, plots, all)
			})
		},
	}
	cmd.Flags().StringVar(&plots, "plots", "", "folder for the plots (default: beside the database)")
	cmd.Flags().BoolVar(&all, "all", false, "print every row of long lists")
	return cmd
}
