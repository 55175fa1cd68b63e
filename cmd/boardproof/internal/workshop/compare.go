package workshop

import (
	"context"
	"errors"
	"slices"

	"boardproof/analysis/change"
	"boardproof/db"
)

// A board that came back has been delivered more than once: which time is meant.
const (
	FirstDelivery = "first"
	LastDelivery  = "last"
)

// CompareRequest asks what has changed on a board between two of its runs.
type CompareRequest struct {
	// Board is its label or serial.
	Board string
	// Then is the earlier run, "" for as delivered, the first or the last time as
	// Delivery says; Now the later run, "" for the latest.
	Then, Now, Delivery string
	// Ready is as in an AcceptRequest.
	Ready func() error
}

// Compared is two runs of a board held against one another.
type Compared struct {
	Board     db.Board
	Then, Now db.Run
	// LeftAside counts simulated runs that were not looked at, How says which run
	// Then is where that was not given.
	LeftAside int
	How       string
	Ties      change.Ties
	// Between says what else is different: chain, plan, profile, bench.
	Between []string
	change.Comparison
}

// Compare holds two runs of a board against one another.
func (w *Workshop) Compare(ctx context.Context, r CompareRequest) (*Compared, error) {
	board, err := w.Store.FindBoard(ctx, r.Board)
	if err != nil {
		return nil, err
	}
	c := &Compared{Board: board}
	if err := w.chooseRuns(ctx, c, r); err != nil {
		return nil, err
	}
	if r.Ready != nil {
		if err := r.Ready(); err != nil {
			return nil, err
		}
	}
	if c.Ties, err = w.tiesOf(ctx, c.Then, c.Now); err != nil {
		return nil, err
	}
	c.Comparison = change.Compare(sideOf(c.Then), sideOf(c.Now), c.Ties)
	c.Between, err = w.betweenRuns(ctx, c.Then, c.Now)
	return c, err
}

func sideOf(r db.Run) change.Side {
	return change.Side{Readings: r.Readings, Curves: r.Curves, Refused: r.Refused}
}

// chooseRuns finds the two runs to compare, whole. A simulated run and a real
// one are never compared: neither says anything of the other.
func (w *Workshop) chooseRuns(ctx context.Context, c *Compared, r CompareRequest) error {
	board := c.Board
	runs, err := w.Store.Runs(ctx, board.ID)
	if err != nil {
		return err
	}
	kind, left := oneKind(measuredRuns(runs))
	if r.Then == "" || r.Now == "" {
		c.LeftAside = left
	}
	thenID, nowID := r.Then, r.Now
	if thenID == "" {
		d, how, err := w.asDelivered(ctx, board.ID, kind, r.Delivery)
		if err != nil {
			return err
		}
		if d == nil {
			return invalidf("board %s has no run that passed to compare with: name one of 'boardproof runs %q' with --then", board.Label, board.Label)
		}
		thenID, c.How = d.ID, how
	}
	if nowID == "" && len(kind) > 0 {
		nowID = kind[len(kind)-1].ID
	}
	if nowID == "" {
		return invalidf("board %s has no run yet: 'boardproof accept %q'", board.Label, board.Label)
	}
	if c.Then, err = w.runOfBoard(ctx, board, "then", thenID); err != nil {
		return err
	}
	if c.Now, err = w.runOfBoard(ctx, board, "now", nowID); err != nil {
		return err
	}
	return whyNotCompared(c.Then, c.Now, board, r.Then == "" && len(kind) > 1)
}

// runOfBoard is a run by its name, which must be of board. of is the field of the
// request that names it.
func (w *Workshop) runOfBoard(ctx context.Context, board db.Board, of, id string) (db.Run, error) {
	run, err := w.Store.FindRun(ctx, id)
	if err != nil {
		return run, field(of, err)
	}
	if run.BoardID != board.ID {
		return run, fieldf(of, ": run %s is of board %s: name one of 'boardproof runs %q'", run.ID, run.BoardAsWas.Label, board.Label)
	}
	return run, nil
}

// whyNotCompared says why two runs cannot be compared. since: there are others than
// the one that the board was delivered with.
func whyNotCompared(then, now db.Run, board db.Board, since bool) error {
	switch {
	case then.ID == now.ID && since:
		return invalidf("board %s has no run since it was delivered with %s: measure it again, or name two runs with --then and --now", board.Label, then.ID)
	case then.ID == now.ID:
		return invalidf("board %s has only run %s to compare: measure it again, or name two with --then and --now", board.Label, then.ID)
	case then.Simulated != now.Simulated:
		return invalidf("run %s is %s and run %s is %s: a simulation says nothing of a real board; name two of one kind",
			then.ID, simulatedWord(then), now.ID, simulatedWord(now))
	}
	return nil
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
func (w *Workshop) asDelivered(ctx context.Context, boardID int64, runs []db.Run, which string) (*db.Run, string, error) {
	first, _, err1 := w.Store.DeliveredRun(ctx, boardID)
	last, _, err2 := w.Store.LastDeliveredRun(ctx, boardID)
	if err := errors.Join(err1, err2); err != nil {
		return nil, "", err
	}
	id, how := first, "with which it went out"
	switch {
	case first == last:
	case which == LastDelivery:
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
func (w *Workshop) tiesOf(ctx context.Context, then, now db.Run) (change.Ties, error) {
	t := change.Ties{Method: then.MethodVersion == now.MethodVersion}
	if then.ProfileID == "" || now.ProfileID == "" || !slices.Equal(inputsOf(then), inputsOf(now)) {
		return t, nil
	}
	if t.Profile = then.ProfileID == now.ProfileID; t.Profile {
		t.Interface = true
		return t, nil
	}
	p, err := w.Store.Profile(ctx, then.ProfileID)
	if err != nil {
		return t, err
	}
	q, err := w.Store.Profile(ctx, now.ProfileID)
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
