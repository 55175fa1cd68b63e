package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// EventKind is what happened to a board.
type EventKind string

// The kinds of event. The last two are written by EditBoard alone.
const (
	CameIn       EventKind = "came in"
	Complaint    EventKind = "complaint"
	WorkDone     EventKind = "work done"
	Parts        EventKind = "parts"
	WentOut      EventKind = "went out"
	ChainChanged EventKind = "chain changed"
	Edited       EventKind = "edited"
)

// ServiceKinds are those that AddEvent takes, in the order of a visit.
var ServiceKinds = []EventKind{CameIn, Complaint, WorkDone, Parts, WentOut}

// Event is one thing that happened to a board. It is never changed: one that
// is wrong is named by a later one.
type Event struct {
	// ID is given by the store, as in e20261125-0001; UID is the same in every store.
	ID      string    `json:"id"`
	UID     string    `json:"uid"`
	BoardID int64     `json:"board_id"`
	Kind    EventKind `json:"kind"`
	// Happened is when it did, Kept when it was written down: both UTC.
	Happened time.Time `json:"happened"`
	Kept     time.Time `json:"kept"`
	Who      string    `json:"who,omitempty"`
	Text     string    `json:"text,omitempty"`
	// RunID is a run that belongs to it: of "went out" the run that the board
	// was delivered with.
	RunID string `json:"run,omitempty"`
	// Corrects names the event that this one is to be read instead of.
	Corrects string `json:"corrects,omitempty"`
	EventDetail
}

// EventDetail is what only some kinds have.
type EventDetail struct {
	Parts []string `json:"parts,omitempty"`
	// Withdrawn: the event that this one corrects did not happen.
	Withdrawn bool `json:"withdrawn,omitempty"`
	// ChainBefore and ChainAfter are those of "chain changed", Changes both of
	// it and of "edited", a line each.
	ChainBefore []Device `json:"chain_before,omitempty"`
	ChainAfter  []Device `json:"chain_after,omitempty"`
	Changes     []string `json:"changes,omitempty"`
}

// AddEvent keeps a service event and returns it with what the store filled
// in. Where Happened is zero it is now, in a correction when what it corrects
// did. "Went out" without a run takes the
// latest run of the visit that was finished by then, if there is one. The
// error may be ErrInvalid or ErrNotFound.
func (s *Store) AddEvent(ctx context.Context, e Event) (Event, error) {
	e.Kept = s.Now().UTC()
	if e.Happened.IsZero() && e.Corrects != "" {
		old, err := s.FindEvent(ctx, e.Corrects)
		if err != nil {
			return Event{}, err
		}
		e.Happened = old.Happened
	}
	if e.Happened.IsZero() {
		e.Happened = e.Kept
	}
	e.Happened, e.UID = e.Happened.UTC(), newUID()
	if err := e.check(); err != nil {
		return Event{}, err
	}
	err := s.write(ctx, "keeping the event", func(tx *sql.Tx) error {
		board, err := boardInTx(ctx, tx, e.BoardID)
		if err != nil {
			return err
		}
		h, err := historyOf(ctx, tx, board.ID)
		if err != nil {
			return err
		}
		if err := e.checkAgainst(h, board); err != nil {
			return err
		}
		if e.Kind == WentOut && e.RunID == "" && !e.Withdrawn {
			e.RunID = h.leavesWith(e)
		}
		return insertEvent(ctx, tx, &e)
	})
	if err != nil {
		return Event{}, err
	}
	return e, nil
}

// insertEvent gives e its id and writes it.
func insertEvent(ctx context.Context, tx *sql.Tx, e *Event) (err error) {
	if e.ID, err = nextID(ctx, tx, "e", e.Kept, sqlLastEventOfDay); err != nil {
		return err
	}
	body, err := json.Marshal(e.EventDetail)
	if err != nil {
		return err
	}
	digest, err := e.digest(ctx, tx)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, sqlAddEvent, e.ID, e.UID, e.BoardID, string(e.Kind), timeText(e.Happened), timeText(e.Kept),
		e.Who, e.Text, orNull(e.RunID), orNull(e.Corrects), string(body), digest)
	return err
}

// check finds what makes e unfit to be kept whatever the store holds.
func (e Event) check() error {
	bad := func(format string, args ...any) error {
		return ofKind(ErrInvalid, "%s cannot be kept: %s", e.Kind, fmt.Sprintf(format, args...))
	}
	how := cmp.Or(firstFault(MaxNotes, true, [2]string{"its text", e.Text}), firstFault(MaxName, false, [2]string{"the name of who", e.Who}))
	for _, part := range e.Parts {
		how = cmp.Or(how, firstFault(MaxName, false, [2]string{"a part", part}))
	}
	switch {
	case how != "":
		return bad("%s", how)
	case !slices.Contains(ServiceKinds, e.Kind):
		return ofKind(ErrInvalid, "%q is no service event", e.Kind)
	case e.Happened.After(e.Kept):
		return bad("%s has not come yet", e.Happened.Format("2006-01-02 15:04"))
	case e.Withdrawn && e.Corrects == "":
		return bad("name the event that is withdrawn")
	case e.Withdrawn:
		return nil
	case e.Kind == Parts && len(e.Parts) == 0:
		return bad("name at least one part")
	case (e.Kind == Complaint || e.Kind == WorkDone) && strings.TrimSpace(e.Text) == "":
		return bad("say in words what it is")
	}
	return nil
}

// checkAgainst holds e against what happened to its board before.
func (e Event) checkAgainst(h history, board Board) error {
	if e.RunID != "" && h.run(e.RunID) == nil {
		return &NotFoundError{What: "run", Name: fmt.Sprintf("%s of board %s", e.RunID, board.Label)}
	}
	if e.Corrects != "" {
		i := slices.IndexFunc(h.events, func(o Event) bool { return o.ID == e.Corrects })
		switch {
		case i < 0:
			return &NotFoundError{What: "event", Name: fmt.Sprintf("%s of board %s", e.Corrects, board.Label)}
		case h.corrected[e.Corrects] != "":
			return ofKind(ErrInvalid, "event %s is corrected already: name %s", e.Corrects, h.corrected[e.Corrects])
		case h.events[i].Kind != e.Kind:
			return ofKind(ErrInvalid, "event %s is %q, not %q: withdraw it, and add another", e.Corrects, h.events[i].Kind, e.Kind)
		}
		return nil
	}
	last := h.lastDoor(e.Happened)
	switch {
	case e.Kind == CameIn && last != nil && last.Kind == CameIn:
		return ofKind(ErrInvalid, "board %q is here since %s (%s): it must go out before it comes in", board.Label, last.Happened.Format("2006-01-02"), last.ID)
	case e.Kind == WentOut && last != nil && last.Kind == WentOut:
		return ofKind(ErrInvalid, "board %q went out on %s (%s): it must come in before it goes out", board.Label, last.Happened.Format("2006-01-02"), last.ID)
	}
	return nil
}

// Events lists what happened to a board, in that order, corrected events too.
func (s *Store) Events(ctx context.Context, boardID int64) ([]Event, error) {
	events, err := collect(ctx, s.db, scanEvent, sqlEventsOfBoard, boardID)
	if err != nil {
		return nil, fmt.Errorf("listing the events of board %d: %w", boardID, storeFault(s.path, err))
	}
	return events, nil
}

// FindEvent returns an event by its id or the beginning of it. The error may
// be a *NotFoundError or an *AmbiguousError.
func (s *Store) FindEvent(ctx context.Context, id string) (Event, error) {
	whole, err := s.wholeID(ctx, "event", id, sqlEventsFrom)
	if err != nil {
		return Event{}, err
	}
	e, err := scanEvent(s.db.QueryRowContext(ctx, sqlEvent, whole))
	if err != nil {
		return Event{}, fmt.Errorf("reading event %s: %w", whole, storeFault(s.path, err))
	}
	return e, nil
}

func scanEvent(row scanner) (Event, error) {
	var e Event
	var happened, kept, body string
	var run, corrects sql.NullString
	err := row.Scan(&e.ID, &e.UID, &e.BoardID, &e.Kind, &happened, &kept, &e.Who, &e.Text, &run, &corrects, &body)
	if err != nil {
		return Event{}, err
	}
	e.RunID, e.Corrects = run.String, corrects.String
	if err := json.Unmarshal([]byte(body), &e.EventDetail); err != nil {
		return Event{}, fmt.Errorf("reading event %s: %w", e.ID, err)
	}
	if e.Happened, err = parseTime(happened); err != nil {
		return Event{}, err
	}
	e.Kept, err = parseTime(kept)
	return e, err
}
