package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

type acceptFlags struct {
	useFlags
	againFlags
	operator string
	notes    string
	corrects string
	plots    string
	all      bool
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
			return a.withStore(cmd.Context(), func(s *db.Store) error {
				run, err := a.accept(cmd.Context(), s, args[0], f)
				if err != nil {
					return err
				}
				return outcome(run.Readings)
			})
		},
	}
	f.useFlags.add(cmd)
	f.againFlags.add(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.operator, "operator", os.Getenv("USER"), "who measures")
	fl.StringVar(&f.notes, "notes", "", "anything worth keeping with the run")
	fl.StringVar(&f.corrects, "corrects", "", "the run that this one is to be read instead of")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	fl.BoolVar(&f.all, "all", false, "print every row of long lists")
	return cmd
}

// accept carries out the plan, prints what came of it and keeps the run.
func (a *app) accept(ctx context.Context, s *db.Store, name string, f acceptFlags) (db.Run, error) {
	if err := f.check(); err != nil {
		return db.Run{}, err
	}
	board, kept, err := planOf(ctx, s, name)
	if err != nil {
		return db.Run{}, err
	}
	plan, err := verdict.ParsePlan([]byte(kept.Text))
	if err != nil {
		return db.Run{}, wrongUsef("the plan of %s: %w", board.Label, err)
	}
	if err := procedure.CheckPlanWords(plan); err != nil {
		return db.Run{}, err
	}
	b, err := chooseBench(ctx, s, f.benchFlags)
	if err != nil {
		return db.Run{}, err
	}
	profile, err := latestProfile(ctx, s, b.Name)
	if err != nil {
		return db.Run{}, err
	}
	if profile == nil {
		return db.Run{}, wrongUsef("bench %s is not calibrated, a plan needs levels in dBu: 'boardproof calibrate --bench %q'", b.Name, b.Name)
	}
	// What would only come out after minutes at the bench is found now.
	if f.corrects, err = runOf(ctx, s, board, f.corrects); err != nil {
		return db.Run{}, err
	}
	if f.plots != "" {
		if err := makePlotsDir(f.plots); err != nil {
			return db.Run{}, err
		}
	}
	in, closeDevice, err := a.openInstrument(b, f.benchFlags)
	if err != nil {
		return db.Run{}, err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := a.sitting(ctx, b, in, board.Outputs, profile)
	if err != nil {
		return db.Run{}, err
	}
	sit.Repeats, sit.BoardIn = f.repeats, f.boardIn
	meet := acceptanceMeets{kept.ID, profile.ID, b, board.Outputs, f.simulate, f.knobs, f.repeats}
	of := db.Sitting{Kind: db.Acceptance, BoardID: board.ID, Bench: b.Name}
	book, err := a.openBook(ctx, s, of, meet, setup{Notes: f.notes, Corrects: f.corrects}, f.againFlags, fmt.Sprintf("'boardproof accept %q'", board.Label))
	if err != nil {
		return db.Run{}, err
	}
	run := db.Run{
		BoardID: board.ID, BoardAsWas: board, Bench: b.Name, ProfileID: profile.ID, PlanID: kept.ID, Simulated: in.Describe().Simulated,
		Operator: f.operator, Started: a.now(), MethodVersion: analysis.MethodVersion, Corrects: book.setup.Corrects, Notes: book.setup.Notes,
	}
	got, note, err := a.sit(ctx, sit, book, plan, f.useFlags)
	if err != nil {
		return db.Run{}, book.left(ctx, err)
	}
	if len(book.past) > 0 {
		note = joinNotes(note, fmt.Sprintf("the sitting of %s was left and gone on with", book.sitting.Started.Format("2006-01-02 15:04 UTC")))
		run.Started = book.sitting.Started
	}
	run.Finished, run.Notes = a.now(), joinNotes(run.Notes, note)
	run.Readings, run.Curves, run.Refused = got.Readings, got.Curves, got.Refused
	done, err := keepRun(ctx, s, run, got.Takes, book)
	if err != nil {
		// What was measured is shown whatever the store does.
		run.Verdict = verdict.Overall(run.Readings)
		return db.Run{}, errors.Join(a.presentUnkept(run, plan), book.left(ctx, fmt.Errorf("the run was NOT KEPT: %w", err)))
	}
	book.forget(ctx)
	return done, a.present(s, done, plan, profile, f.plots, f.all)
}

// acceptanceMeets is what must be the same for an acceptance to be gone on with.
type acceptanceMeets struct {
	Plan     int64    `json:"plan"`
	Profile  string   `json:"profile"`
	Bench    db.Bench `json:"bench"`
	Outputs  []string `json:"outputs"`
	Simulate string   `json:"simulate"`
	Knobs    []string `json:"knobs"`
	Repeats  int      `json:"repeats"`
}

// sit checks the bench and carries the plan out, as far as book does not hold
// that already.
func (a *app) sit(ctx context.Context, sit *procedure.Sitting, book *book, plan verdict.Plan, f useFlags) (*procedure.Accepted, string, error) {
	check, note, err := a.checkOrPast(ctx, sit, book, f)
	if err != nil {
		return nil, "", err
	}
	done := procedure.Done(book.past)
	sit.Keep(book, book.past)
	if check.Taken != nil && !done {
		if err := sit.Note(ctx, procedure.Entry{What: procedure.CheckStep, Take: check.Taken.Take, Attempt: check.Taken.Attempt}); err != nil {
			return nil, "", err
		}
	}
	got, err := sit.Accept(ctx, plan)
	if err != nil {
		return nil, "", err
	}
	got.AddCheck(check)
	return got, joinNotes(note, sit.LikeLead()), nil
}

// checkOrPast is checkBench, but that a sitting which took all it takes has its
// own check.
func (a *app) checkOrPast(ctx context.Context, sit *procedure.Sitting, book *book, f useFlags) (*procedure.BenchCheck, string, error) {
	if procedure.Done(book.past) {
		for _, e := range slices.Backward(book.past) {
			if e.What == procedure.CheckStep && e.Load != nil {
				check, err := sit.PastCheck(e)
				return check, "", err
			}
		}
	}
	return a.checkBench(ctx, sit, f)
}

// presentUnkept shows what was measured where the store could not keep it.
func (a *app) presentUnkept(run db.Run, plan verdict.Plan) error {
	run.Readings = settled(run, plan)
	if a.json {
		return report.Write(a.out, runDocument(run, plan, nil))
	}
	a.wrapped("", fmt.Sprintf("board %s, NOT KEPT, %s, bench %s, profile %s", run.BoardAsWas.Label, local(run.Started), run.Bench, run.ProfileID))
	return report.Table(a.out, run.Readings, report.TableOptions{Simulated: run.Simulated, Refused: run.Refused})
}

// joinNotes puts a note behind what the operator wrote.
func joinNotes(notes, note string) string {
	if notes == "" || note == "" {
		return notes + note
	}
	return notes + "; " + note
}

// runOf returns the whole name of a run of board that id begins, "" for "".
func runOf(ctx context.Context, s *db.Store, board db.Board, id string) (string, error) {
	if id == "" {
		return "", nil
	}
	run, err := s.FindRun(ctx, id)
	if err != nil {
		return "", wrongUsef("--corrects: %w", err)
	}
	if run.BoardID != board.ID {
		return "", wrongUsef("--corrects: run %s is of board %s: name one of 'boardproof runs %q'", run.ID, run.BoardAsWas.Label, board.Label)
	}
	return run.ID, nil
}

// keepRun puts the takes on the disk, but for those that the sitting has put
// there already, and then the run that names them. It can be interrupted only
// while it waits for the store.
func keepRun(ctx context.Context, s *db.Store, run db.Run, takes []procedure.StepTake, b *book) (db.Run, error) {
	if err := ctx.Err(); err != nil {
		return db.Run{}, err
	}
	for again := false; ; again = true {
		run.Takes = nil
		for _, t := range takes {
			ref, had := b.ref(t.Take)
			if !had || again {
				var err error
				if ref, err = s.SaveTake(t.Take, t.Step, t.Attempt); err != nil {
					return db.Run{}, err
				}
			}
			ref.Step, ref.Attempt, ref.LeftOut, ref.Again = t.Step, t.Attempt, t.LeftOut, t.Again
			run.Takes = append(run.Takes, ref)
		}
		kept, err := s.SaveRun(ctx, run, b.closes()...)
		// A file may have gone meanwhile; its samples may still be here.
		if gone := func(t procedure.StepTake) bool { return t.Take.Samples == nil }; !errors.Is(err, db.ErrTakeDamaged) || again || slices.ContainsFunc(takes, gone) {
			return kept, err
		}
	}
}

// present draws a run's plots and prints it; it prints it also where the
// plots could not be drawn.
func (a *app) present(s *db.Store, run db.Run, plan verdict.Plan, profile *calibration.Profile, dir string, all bool) error {
	paths, drawErr := drawPlots(plotsDir(s, dir, run.ID), run, plan, profile)
	drawErr = a.drawn(dir, drawErr)
	run.Readings = settled(run, plan)
	if a.json {
		return errors.Join(report.Write(report.Seen{To: a.out}, runDocument(run, plan, paths)), drawErr)
	}
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
	if err := a.sayTidied(s, run); err != nil {
		return err
	}
	if plan.Rule != "" {
		a.wrapped("rule: ", ruleInWords(plan.Rule))
	}
	for _, p := range paths {
		a.printf("plot: %s\n", p)
	}
	a.printf("\n")
	return errors.Join(report.Outcome(a.out, run.Readings), drawErr)
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
