package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"boardproof/analysis/change"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

type compareFlags struct {
	then, now, delivery, plots string
	all                        bool
}

// A board that came back has been delivered more than once: which time is meant.
const (
	firstDelivery = "first"
	lastDelivery  = "last"
)

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
			return a.readStore(cmd.Context(), func(s *db.Store) error { return a.compare(cmd.Context(), s, args[0], f) })
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.then, "then", "", "the earlier run (default: as delivered, with which it went out, or the first that passed)")
	fl.StringVar(&f.delivery, "delivery", firstDelivery, "which time it went out to hold it against: first, or last for since its latest service")
	fl.StringVar(&f.now, "now", "", "the later run (default: the latest)")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	fl.BoolVar(&f.all, "all", false, "print every row")
	return cmd
}

func (f compareFlags) check(deliveryGiven bool) error {
	switch {
	case f.delivery != firstDelivery && f.delivery != lastDelivery:
		return wrongUsef("--delivery %q: give first or last, or name a run with --then", f.delivery)
	case deliveryGiven && f.then != "":
		return wrongUsef("--then and --delivery both say what to hold against: give one of them")
	}
	return nil
}

func (a *app) compare(ctx context.Context, s *db.Store, name string, f compareFlags) error {
	board, err := s.FindBoard(ctx, name)
	if err != nil {
		return err
	}
	then, now, notes, err := chooseRuns(ctx, s, board, f)
	if err != nil {
		return err
	}
	if f.plots != "" {
		if err := makePlotsDir(f.plots); err != nil {
			return err
		}
	}
	ties, err := tiesOf(ctx, s, then, now)
	if err != nil {
		return err
	}
	c := change.Compare(sideOf(then), sideOf(now), ties)
	between, err := betweenRuns(ctx, s, then, now)
	if err != nil {
		return err
	}
	paths, drawErr := drawDifferences(plotsDir(s, f.plots, then.ID+"-"+now.ID), board, then, now, c)
	drawErr = a.drawn(f.plots, drawErr)
	if a.json {
		return errors.Join(a.printJSON(compareDocument{report.Format, then.Simulated, board, infoOf(then, nil), infoOf(now, paths), ties, between, notes, c}), drawErr)
	}
	a.wrapped("", fmt.Sprintf("board %s: then run %s of %s, now run %s of %s", board.Label, then.ID, local(then.Started), now.ID, local(now.Started)))
	for _, n := range append(notes, between...) {
		a.wrapped("  ", n)
	}
	a.printf("\n")
	if err := report.Compared(a.out, c, report.CompareOptions{Simulated: then.Simulated, All: f.all}); err != nil {
		return err
	}
	for _, p := range paths {
		a.printf("plot: %s\n", p)
	}
	return drawErr
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

func sideOf(r db.Run) change.Side {
	return change.Side{Readings: r.Readings, Curves: r.Curves, Refused: r.Refused}
}

// chooseRuns returns the two runs to compare, whole. A simulated run and a
// real one are never compared: neither says anything of the other.
func chooseRuns(ctx context.Context, s *db.Store, board db.Board, f compareFlags) (then, now db.Run, notes []string, err error) {
	fail := func(err error) (db.Run, db.Run, []string, error) { return db.Run{}, db.Run{}, nil, err }
	runs, err := s.Runs(ctx, board.ID)
	if err != nil {
		return fail(err)
	}
	kind, left := oneKind(measuredRuns(runs))
	if left > 0 && (f.then == "" || f.now == "") {
		notes = append(notes, fmt.Sprintf("left aside: %s of this board", report.Count(left, "simulated run")))
	}
	thenID, nowID := f.then, f.now
	if thenID == "" {
		d, how, err := asDelivered(ctx, s, board.ID, kind, f.delivery)
		if err != nil {
			return fail(err)
		}
		if d == nil {
			return fail(wrongUsef("board %s has no run that passed to compare with: name one of 'boardproof runs %q' with --then", board.Label, board.Label))
		}
		thenID = d.ID
		notes = append(notes, how)
	}
	if nowID == "" && len(kind) > 0 {
		nowID = kind[len(kind)-1].ID
	}
	if nowID == "" {
		return fail(wrongUsef("board %s has no run yet: 'boardproof accept %q'", board.Label, board.Label))
	}
	for flag, to := range map[string]*db.Run{"--then": &then, "--now": &now} {
		id := map[string]string{"--then": thenID, "--now": nowID}[flag]
		if *to, err = s.FindRun(ctx, id); err != nil {
			return fail(fmt.Errorf("%s: %w", flag, err))
		}
		if to.BoardID != board.ID {
			return fail(wrongUsef("%s: run %s is of board %s: name one of 'boardproof runs %q'", flag, to.ID, to.BoardAsWas.Label, board.Label))
		}
	}
	switch {
	case then.ID == now.ID && f.then == "" && len(kind) > 1:
		return fail(wrongUsef("board %s has no run since it was delivered with %s: measure it again, or name two runs with --then and --now", board.Label, then.ID))
	case then.ID == now.ID:
		return fail(wrongUsef("board %s has only run %s to compare: measure it again, or name two with --then and --now", board.Label, then.ID))
	case then.Simulated != now.Simulated:
		return fail(wrongUsef("run %s is %s and run %s is %s: a simulation says nothing of a real board; name two of one kind",
			then.ID, simulatedWord(then), now.ID, simulatedWord(now)))
	}
	return then, now, notes, nil
}

func simulatedWord(r db.Run) string {
	if r.Simulated {
		return "simulated"
	}
	return "real"
}

// oneKind returns the real runs, or, where there are none, the simulated ones;
// left is how many simulated ones were left aside.
func oneKind(runs []db.Run) (kind []db.Run, left int) {
	real := slices.ContainsFunc(runs, func(r db.Run) bool { return !r.Simulated })
	for _, r := range runs {
		if r.Simulated && real {
			left++
			continue
		}
		kind = append(kind, r)
	}
	return kind, left
}

// asDelivered is the run with which a board went out the first or the last
// time, by its service events, or, where none says so, the first that passed.
func asDelivered(ctx context.Context, s *db.Store, boardID int64, runs []db.Run, which string) (*db.Run, string, error) {
	first, _, err1 := s.DeliveredRun(ctx, boardID)
	last, _, err2 := s.LastDeliveredRun(ctx, boardID)
	if err := errors.Join(err1, err2); err != nil {
		return nil, "", err
	}
	id, how := first, "with which it went out"
	switch {
	case first == last:
	case which == lastDelivery:
		id, how = last, "with which it went out the last time"
	default:
		how += " the first time; '--delivery last' takes run " + last + ", of its latest service"
	}
	for i, r := range runs {
		if id != "" && r.ID == id {
			return &runs[i], "as delivered: run " + id + ", " + how, nil
		}
	}
	if r, ok := db.FirstPassed(runs); ok {
		return &r, "as delivered: run " + r.ID + ", the first that passed", nil
	}
	return nil, "", nil
}

// tiesOf says what the two runs' benches have in common.
func tiesOf(ctx context.Context, s *db.Store, then, now db.Run) (change.Ties, error) {
	t := change.Ties{Method: then.MethodVersion == now.MethodVersion}
	if then.ProfileID == "" || now.ProfileID == "" || !slices.Equal(inputsOf(then), inputsOf(now)) {
		return t, nil
	}
	if t.Profile = then.ProfileID == now.ProfileID; t.Profile {
		t.Interface = true
		return t, nil
	}
	p, err := s.Profile(ctx, then.ProfileID)
	if err != nil {
		return t, err
	}
	q, err := s.Profile(ctx, now.ProfileID)
	if err != nil {
		return t, err
	}
	t.Interface = p.Bench == q.Bench && p.Instrument.Device == q.Instrument.Device && p.Instrument.Host == q.Instrument.Host
	return t, nil
}

// inputsOf are the interface's inputs that recorded the run.
func inputsOf(r db.Run) []int {
	for _, t := range r.Takes {
		if t.LeftOut == "" {
			return t.Take.Inputs
		}
	}
	return nil
}
