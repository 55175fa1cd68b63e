package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Run is a plan carried out once, or another measurement worth keeping.
type Run struct {
	// ID is given by the store, as in r20261125-0001: ids sort in the order
	// in which runs were kept.
	ID      string `json:"id"`
	BoardID int64  `json:"board_id"`
	// BoardAsWas is the board when the run was kept; the store fills it in.
	BoardAsWas Board  `json:"board_as_was"`
	Bench      string `json:"bench"`
	// ProfileID and PlanID are empty where there was none.
	ProfileID     string    `json:"profile_id,omitempty"`
	PlanID        int64     `json:"plan_id,omitempty"`
	Simulated     bool      `json:"simulated"`
	Operator      string    `json:"operator,omitempty"`
	Started       time.Time `json:"started"`  // UTC
	Finished      time.Time `json:"finished"` // UTC
	MethodVersion string    `json:"method_version"`
	// Corrects names the run that this one is to be read instead of.
	Corrects string `json:"corrects,omitempty"`
	// Recomputes names the run whose takes this one was read from again; it is
	// no correction of that run by itself.
	Recomputes string `json:"recomputes,omitempty"`
	// Digest is what the run's digest was when it was kept, "" for runs kept
	// before there were digests. OriginID is the id that an imported run had
	// where it was made. The store fills both in.
	Digest   string `json:"digest,omitempty"`
	OriginID string `json:"origin_id,omitempty"`
	// Named are the digests of what the run names; the store fills them in,
	// but for runs in a list.
	Named Named `json:"-"`
	// Verdict is verdict.Overall of Readings, filled in by the store; empty
	// where the run followed no plan.
	Verdict verdict.Outcome `json:"verdict,omitempty"`
	Notes   string          `json:"notes,omitempty"`

	Readings []verdict.Judged   `json:"readings,omitempty"`
	Curves   []analysis.Curve   `json:"curves,omitempty"`
	Refused  []analysis.Refusal `json:"refused,omitempty"`
	Takes    []TakeRef          `json:"takes,omitempty"`
}

// SaveRun keeps a run that has ended, whole or not at all, together with the
// end of the sittings that it came of, and returns it with what the store
// filled in; once it holds the store ctx does not end it. Its takes must be kept already, and its
// board, profile, plan and the run it corrects must be in the store. The
// error may be ErrInvalid, ErrNotFound, ErrTakeDamaged, ErrNotWritable or
// ErrBusy.
func (s *Store) SaveRun(ctx context.Context, r Run, sittings ...string) (Run, error) {
	r, err := s.ready(r)
	if err != nil {
		return Run{}, err
	}
	err = s.write(ctx, "keeping the run", func(tx *sql.Tx) error {
		if err := s.checkTakes(r.Takes); err != nil {
			return err
		}
		ctx := context.WithoutCancel(ctx)
		if err := r.keep(ctx, tx, s.Now()); err != nil {
			return err
		}
		return s.endSittings(ctx, tx, sittings, r.ID)
	})
	if err != nil {
		return Run{}, err
	}
	return r, nil
}

// ready makes sure that r can be kept, as far as that does not hang on what
// else is kept.
func (s *Store) ready(r Run) (Run, error) {
	if err := r.check(); err != nil {
		return Run{}, err
	}
	r.Started, r.Finished, r.Verdict = r.Started.UTC(), r.Finished.UTC(), ""
	if r.PlanID != 0 {
		r.Verdict = verdict.Overall(r.Readings)
	}
	return r, nil
}

// keep gives r its id, of the day of now, and writes all of it.
func (r *Run) keep(ctx context.Context, tx *sql.Tx, now time.Time) error {
	board, err := boardInTx(ctx, tx, r.BoardID)
	if err != nil {
		return err
	}
	r.BoardAsWas = board
	if err := r.checkNamed(ctx, tx); err != nil {
		return err
	}
	if r.ID, err = nextID(ctx, tx, "r", now, sqlLastRunOfDay); err != nil {
		return err
	}
	if err := r.name(ctx, tx); err != nil {
		return err
	}
	r.Digest, r.OriginID = Digest(*r), ""
	return r.insert(ctx, tx)
}

// check finds what makes r unfit to be kept whatever the store holds.
func (r Run) check() error {
	bad := func(format string, args ...any) error {
		return ofKind(ErrInvalid, "the run cannot be kept: %s", fmt.Sprintf(format, args...))
	}
	switch {
	case r.Bench == "" || r.MethodVersion == "":
		return bad("it must name its bench and the version of its methods")
	case r.Started.IsZero() || r.Finished.Before(r.Started):
		return bad("it has no start, or ended before it began")
	}
	for _, j := range r.Readings {
		if !j.Absent && !(finite(j.Value) && finite(j.Uncertainty) && finite(j.K)) {
			return bad("%s at output %q is %g ± %g, which is no figure", j.Quantity, j.Output, j.Value, j.Uncertainty)
		}
	}
	return nil
}

// checkNamed makes sure that what r names is in the store and belongs to it.
func (r Run) checkNamed(ctx context.Context, tx *sql.Tx) error {
	if err := profileFits(ctx, tx, r.ProfileID, r.Simulated, "run"); err != nil {
		return err
	}
	if r.PlanID != 0 {
		p, err := scanPlan(tx.QueryRowContext(ctx, sqlPlan, r.PlanID))
		if errors.Is(err, sql.ErrNoRows) || err == nil && p.BoardID != r.BoardID {
			return &NotFoundError{What: "plan", Name: fmt.Sprintf("%d of board %s", r.PlanID, r.BoardAsWas.Label)}
		}
		if err != nil {
			return fmt.Errorf("looking up its plan: %w", err)
		}
	}
	for _, other := range []string{r.Corrects, r.Recomputes} {
		if other == "" {
			continue
		}
		var board int64
		err := tx.QueryRowContext(ctx, sqlRunBoard, other).Scan(&board)
		if errors.Is(err, sql.ErrNoRows) || err == nil && board != r.BoardID {
			return &NotFoundError{What: "run", Name: fmt.Sprintf("%s of board %s", other, r.BoardAsWas.Label)}
		}
		if err != nil {
			return fmt.Errorf("looking up the run it names: %w", err)
		}
	}
	return nil
}

// profileFits makes sure that a profile, where one is named, is in the store
// and of the same kind of bench as what, a run or a hunt.
func profileFits(ctx context.Context, tx *sql.Tx, id string, simulated bool, what string) error {
	if id == "" {
		return nil
	}
	var profileIs bool
	err := tx.QueryRowContext(ctx, sqlProfileIsSim, id).Scan(&profileIs)
	if errors.Is(err, sql.ErrNoRows) {
		return &NotFoundError{What: "profile", Name: id}
	}
	if err != nil {
		return fmt.Errorf("looking up its profile: %w", err)
	}
	if profileIs != simulated {
		return ofKind(ErrInvalid, "profile %s and the %s are not both simulated or both real: use a profile of the same bench", id, what)
	}
	return nil
}

func boardInTx(ctx context.Context, tx *sql.Tx, id int64) (Board, error) {
	b, err := scanBoard(tx.QueryRowContext(ctx, sqlBoardByID, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Board{}, &NotFoundError{What: "board", Name: fmt.Sprint(id)}
	}
	if err != nil {
		return Board{}, fmt.Errorf("looking up its board: %w", err)
	}
	b.Chain, err = collect(ctx, tx, scanDevice, sqlDevices, id)
	return b, err
}

// FindRun returns a run, whole, by its id or the beginning of it. The error
// may be a *NotFoundError or an *AmbiguousError.
func (s *Store) FindRun(ctx context.Context, id string) (Run, error) {
	whole, err := s.wholeID(ctx, "run", id, sqlRunsFrom)
	if errors.Is(err, ErrNotFound) {
		return Run{}, s.noRun(ctx, id)
	}
	if err != nil {
		return Run{}, err
	}
	r, err := scanRun(s.db.QueryRowContext(ctx, sqlRun, whole))
	if err == nil {
		err = r.load(ctx, s.db)
	}
	if err != nil {
		return Run{}, fmt.Errorf("reading run %q: %w", id, storeFault(s.path, err))
	}
	return r, nil
}

// noRun says that there is no run of a name, and which are meant where it is a
// board's.
func (s *Store) noRun(ctx context.Context, name string) error {
	none := &NotFoundError{What: "run", Name: name}
	b, err := s.FindBoard(ctx, name)
	if err != nil {
		return none
	}
	none.Board = b.Label
	runs, err := s.Runs(ctx, b.ID)
	runs = slices.DeleteFunc(runs, func(r Run) bool { return r.Recomputes != "" })
	if err == nil && len(runs) > 0 {
		none.Near = []string{slices.MaxFunc(runs, func(a, b Run) int { return a.Finished.Compare(b.Finished) }).ID}
	}
	return none
}

// Runs lists the runs of a board, in the order they were kept, without their readings,
// curves, refusals and takes.
func (s *Store) Runs(ctx context.Context, boardID int64) ([]Run, error) {
	runs, err := collect(ctx, s.db, scanRun, sqlRunsOfBoard, boardID)
	if err != nil {
		return nil, fmt.Errorf("listing the runs of board %d: %w", boardID, storeFault(s.path, err))
	}
	return runs, nil
}

// FirstPassed stands in for the run with which a board left, where nobody wrote
// down that it did: the first of runs that passed its plan and that no later one
// corrects.
func FirstPassed(runs []Run) (run Run, ok bool) {
	corrected := map[string]bool{}
	for _, r := range runs {
		corrected[r.Corrects] = true
	}
	for _, r := range runs {
		if r.PlanID != 0 && r.Verdict.Passed() && !corrected[r.ID] {
			return r, true
		}
	}
	return Run{}, false
}

func scanRun(row scanner) (Run, error) {
	var r Run
	var board, started, finished string
	var profile, corrects, recomputes sql.NullString
	var plan sql.NullInt64
	err := row.Scan(&r.ID, &r.BoardID, &board, &r.Bench, &profile, &plan, &r.Simulated, &r.Operator,
		&started, &finished, &r.MethodVersion, &corrects, &r.Verdict, &r.Notes, &r.Digest, &recomputes, &r.OriginID)
	if err != nil {
		return Run{}, err
	}
	r.ProfileID, r.PlanID, r.Corrects, r.Recomputes = profile.String, plan.Int64, corrects.String, recomputes.String
	if err := json.Unmarshal([]byte(board), &r.BoardAsWas); err != nil {
		return Run{}, fmt.Errorf("reading the board of run %s: %w", r.ID, err)
	}
	if r.Started, err = parseTime(started); err != nil {
		return Run{}, err
	}
	r.Finished, err = parseTime(finished)
	return r, err
}
