package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type acceptFlags struct {
	workshop.AcceptRequest
	plots string
	all   bool
}

func (a *app) acceptCommand() *cobra.Command {
	var f acceptFlags
	cmd := &cobra.Command{
		Use:   "accept BOARD",
		Short: "Carry out a board's plan: measure, judge, keep",
		Long: "Walk through the board's acceptance plan step by step, judge each reading against its\n" +
			"limit, keep the run for good, and draw the plots. Each take is kept when it is made: a sitting\n" +
			"that was left, or whose run could not be written, is offered to be gone on with.",
		Args: exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenExisting, func(w *workshop.Workshop) error {
				f.Board = args[0]
				run, err := a.accept(cmd.Context(), w, f)
				if err != nil {
					return err
				}
				return outcome(run.Readings)
			})
		},
	}
	addUse(cmd, &f.Use)
	addAgain(cmd, &f.Again)
	fl := cmd.Flags()
	fl.StringVar(&f.Operator, "operator", os.Getenv("USER"), "who measures")
	fl.StringVar(&f.Notes, "notes", "", "anything worth keeping with the run")
	fl.StringVar(&f.Corrects, "corrects", "", "the run that this one is to be read instead of")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	fl.BoolVar(&f.all, "all", false, "print every row of long lists")
	return cmd
}

// accept carries out the plan and prints what came of it.
func (a *app) accept(ctx context.Context, w *workshop.Workshop, f acceptFlags) (db.Run, error) {
	f.How = func(board string) string { return fmt.Sprintf("'boardproof accept %q'", board) }
	if f.plots != "" {
		f.Ready = func() error { return makePlotsDir(f.plots) }
	}
	got, err := w.Accept(ctx, f.AcceptRequest)
	switch {
	case got == nil:
		return db.Run{}, err
	case err != nil:
		return db.Run{}, errors.Join(a.presentUnkept(got.Run, got.Plan), err)
	}
	return got.Run, a.present(ctx, w, got, f.plots, f.all)
}

// presentUnkept shows what was measured where the store could not keep it.
func (a *app) presentUnkept(run db.Run, plan verdict.Plan) error {
	run.Readings = workshop.Settled(run, plan)
	return a.show(runDocument(run, plan, nil), func() error {
		a.wrapped("", fmt.Sprintf("board %s, NOT KEPT, %s, bench %s, profile %s", run.BoardAsWas.Label, local(run.Started), run.Bench, run.ProfileID))
		return report.Table(a.out, run.Readings, report.TableOptions{Simulated: run.Simulated, Refused: run.Refused})
	})
}

// present draws a run's plots and prints it; it prints it also where the
// plots could not be drawn.
func (a *app) present(ctx context.Context, w *workshop.Workshop, got *workshop.Acceptance, dir string, all bool) error {
	run := got.Run
	paths, drawErr := drawPlots(plotsDir(w.Store, dir, run.ID), run, got.Plan, got.Profile)
	drawErr = a.drawn(dir, drawErr)
	run.Readings = workshop.Settled(run, got.Plan)
	err := a.show(runDocument(run, got.Plan, paths), func() error { return a.printRun(ctx, w, run, got.Plan, paths, all) })
	return errors.Join(err, drawErr)
}

func (a *app) printRun(ctx context.Context, w *workshop.Workshop, run db.Run, plan verdict.Plan, plots []string, all bool) error {
	a.wrapped("", fmt.Sprintf("board %s, run %s, %s, bench %s, profile %s", run.BoardAsWas.Label, run.ID, local(run.Started), run.Bench, run.ProfileID))
	err := report.Table(a.out, run.Readings, report.TableOptions{Simulated: run.Simulated, Refused: run.Refused, All: all, NoOutcome: true})
	if err != nil {
		return err
	}
	for _, t := range run.Takes {
		if t.LeftOut != "" {
			a.wrapped("", fmt.Sprintf("left out: a %s of step %q: %s", t.Take.Signal.Kind, t.Step, t.LeftOut))
		}
	}
	if err := a.sayTidied(ctx, w, run); err != nil {
		return err
	}
	if plan.Rule != "" {
		a.wrapped("rule: ", ruleInWords(plan.Rule))
	}
	a.printPlots(plots)
	a.printf("\n")
	return report.Outcome(a.out, run.Readings)
}

func ruleInWords(r verdict.Rule) string {
	if r == verdict.Simple {
		return "simple, the figure alone decides, its uncertainty is not counted"
	}
	return "guarded, a figure passes when it is inside its limit by at least its uncertainty (k = 2)"
}

// runInfo is what the JSON says of a run beside its readings.
type runInfo struct {
	ID         string          `json:"id"`
	Bench      string          `json:"bench"`
	Operator   string          `json:"operator,omitempty"`
	Started    time.Time       `json:"started"`
	Finished   time.Time       `json:"finished"`
	Method     string          `json:"method_version"`
	Corrects   string          `json:"corrects,omitempty"`
	Recomputes string          `json:"recomputes,omitempty"`
	OriginID   string          `json:"origin_id,omitempty"`
	Digest     string          `json:"digest,omitempty"`
	Rule       verdict.Rule    `json:"rule,omitempty"`
	Verdict    verdict.Outcome `json:"verdict"`
	Notes      string          `json:"notes,omitempty"`
	Takes      []db.TakeRef    `json:"takes,omitempty"`
	PlotsDrawn []string        `json:"plots,omitempty"`
}

func runDocument(run db.Run, plan verdict.Plan, plots []string) report.Document {
	return report.Document{
		Simulated: run.Simulated, Board: run.BoardAsWas,
		Run: runInfo{run.ID, run.Bench, run.Operator, run.Started, run.Finished, run.MethodVersion, run.Corrects,
			run.Recomputes, run.OriginID, run.Digest, plan.Rule, run.Verdict, run.Notes, run.Takes, plots},
		Profile: run.ProfileID, Readings: run.Readings, Curves: run.Curves, Refused: run.Refused,
	}
}
