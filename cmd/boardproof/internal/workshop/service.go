package workshop

import (
	"context"
	"errors"
	"fmt"
	"time"

	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// KeepEvent keeps what happened to a board. Its run and the event that it
// corrects may be given by the beginning of their names. Before a board is called
// delivered with a run that it did not pass, the person is asked.
func (w *Workshop) KeepEvent(ctx context.Context, b db.Board, e db.Event) (db.Event, error) {
	e.BoardID = b.ID
	if e.RunID != "" {
		r, err := w.Store.FindRun(ctx, e.RunID)
		if err != nil {
			return e, field("run", err)
		}
		e.RunID = r.ID
	}
	if e.Corrects != "" {
		old, err := w.Store.FindEvent(ctx, e.Corrects)
		if err != nil {
			return e, field("corrects", err)
		}
		e.Corrects = old.ID
	}
	if err := w.askOfDelivery(ctx, b, e); err != nil {
		return e, err
	}
	e, err := w.Store.AddEvent(ctx, e)
	if err != nil {
		return e, err
	}
	return e, w.warnOfDelivery(ctx, b, e)
}

// Withdraw says that an event did not happen, why, and who says so.
func (w *Workshop) Withdraw(ctx context.Context, event, why, who string) (db.Board, db.Event, error) {
	old, err := w.Store.FindEvent(ctx, event)
	if err != nil {
		return db.Board{}, db.Event{}, err
	}
	b, err := w.Store.Board(ctx, old.BoardID)
	if err != nil {
		return b, db.Event{}, err
	}
	e, err := w.KeepEvent(ctx, b, db.Event{Kind: old.Kind, Text: why, Who: who, Corrects: old.ID, EventDetail: db.EventDetail{Withdrawn: true}})
	return b, e, err
}

// Confirm asks for leave; where nobody is there it is given.
func (w *Workshop) Confirm(ctx context.Context, question string) (bool, error) {
	answer, err := w.Person.Ask(ctx, talk.Question{Kind: talk.YesNo, Prompt: question, Flag: "yes"})
	if errors.Is(err, talk.ErrNobody) {
		return true, nil
	}
	return answer.Yes(), err
}

// askOfDelivery asks before a board is called delivered with a run that it did
// not pass.
func (w *Workshop) askOfDelivery(ctx context.Context, b db.Board, e db.Event) error {
	if e.Kind != db.WentOut || e.Withdrawn {
		return nil
	}
	id := e.RunID
	if id == "" {
		var err error
		if id, err = w.Store.LeavesWith(ctx, e); err != nil || id == "" {
			return err
		}
	}
	r, err := w.Store.FindRun(ctx, id)
	if err != nil || r.PlanID == 0 || r.Verdict.Passed() {
		return err
	}
	w.Person.Tell(ctx, talk.NotPassed{Run: r.ID, Board: b.Label, Verdict: r.Verdict, Readings: r.Readings})
	out, err := w.Confirm(ctx, "does it go out all the same?")
	if err == nil && !out {
		err = invalidf("not kept: board %s stays here; accept it again, or name another run with --run", b.Label)
	}
	return err
}

// warnOfDelivery says where a board goes out with no run, or with one that is
// no reason to let it go.
func (w *Workshop) warnOfDelivery(ctx context.Context, b db.Board, e db.Event) error {
	if e.Kind != db.WentOut || e.Withdrawn {
		return nil
	}
	if e.RunID == "" {
		w.warnf(ctx, "board %s goes out with no run of this visit: there will be nothing to compare it with", b.Label)
		return nil
	}
	r, err := w.Store.FindRun(ctx, e.RunID)
	if err != nil {
		return err
	}
	if r.PlanID == 0 {
		w.warnf(ctx, "run %s, with which it goes out, followed no plan", r.ID)
	} else if !r.Verdict.Passed() {
		w.warnf(ctx, "run %s, with which it goes out, is a %q", r.ID, r.Verdict)
	}
	if r.Simulated {
		w.warnf(ctx, "run %s, with which it goes out, is SIMULATED", r.ID)
	}
	return nil
}

func (w *Workshop) warnf(ctx context.Context, format string, args ...any) {
	w.Person.Tell(ctx, talk.Remark{Severity: talk.Warning, Text: fmt.Sprintf(format, args...)})
}

// HappenedOn is when on a day something of a kind happened: a board came in at
// its beginning and went out at its end, and all else happened at noon; today it
// is now.
func (w *Workshop) HappenedOn(day time.Time, kind db.EventKind) time.Time {
	switch {
	case day.Format(time.DateOnly) == w.Now().Local().Format(time.DateOnly):
		return w.Now()
	case kind == db.CameIn:
		return day
	case kind == db.WentOut:
		return day.AddDate(0, 0, 1).Add(-time.Minute)
	}
	return day.Add(12 * time.Hour)
}
