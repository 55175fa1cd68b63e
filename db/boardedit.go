package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// BoardEdit is a change of a board. Nil leaves as it is.
type BoardEdit struct {
	Label, Owner, Serial, Notes *string
	// Outputs may only grow at the end once the board has runs: those runs'
	// readings go by these names.
	Outputs []string
	// Chain is the whole chain as it is now; nil leaves as it is, empty has none.
	Chain []Device
	// Happened is when the change was made, now where zero; Reason and Who go
	// with it into the board's history.
	Happened    time.Time
	Reason, Who string
}

// EditBoard changes a board, whole or not at all, and returns it with the
// events that its history gained: one for the chain, one for all else. Runs
// that are kept already stay as they are, with the board as it was. The error
// may be ErrInvalid, ErrNotFound or ErrDuplicate.
func (s *Store) EditBoard(ctx context.Context, boardID int64, c BoardEdit) (b Board, kept []Event, err error) {
	now := s.Now().UTC()
	if c.Happened.IsZero() {
		c.Happened = now
	}
	if c.Happened.After(now) {
		return Board{}, nil, ofKind(ErrInvalid, "the board cannot be changed: %s has not come yet", c.Happened.Format("2006-01-02 15:04"))
	}
	err = s.write(ctx, "changing the board", func(tx *sql.Tx) error {
		was, err := boardInTx(ctx, tx, boardID)
		if err == nil {
			err = s.checkSeal(ctx, tx, "boards", boardID)
		}
		if err != nil {
			return err
		}
		b, kept = c.applied(was), nil
		if err := b.check(); err != nil {
			return err
		}
		if err := canBecome(ctx, tx, was, b); err != nil {
			return err
		}
		if err := setBoard(ctx, tx, b); err != nil {
			return err
		}
		for _, e := range c.events(was, b) {
			e.UID, e.BoardID, e.Kept = newUID(), boardID, now
			if err := insertEvent(ctx, tx, &e); err != nil {
				return err
			}
			kept = append(kept, e)
		}
		return nil
	})
	if err != nil {
		return Board{}, nil, err
	}
	return b, kept, nil
}

func (c BoardEdit) applied(b Board) Board {
	for from, to := range map[*string]*string{c.Label: &b.Label, c.Owner: &b.Owner, c.Serial: &b.Serial, c.Notes: &b.Notes} {
		if from != nil {
			*to = *from
		}
	}
	b.Label = strings.TrimSpace(b.Label)
	if c.Outputs != nil {
		b.Outputs = c.Outputs
	}
	if c.Chain != nil {
		b.Chain = c.Chain
	}
	return b
}

// events says what differs between the board as it was and as it is.
func (c BoardEdit) events(was, is Board) []Event {
	var all []Event
	e := Event{Happened: c.Happened.UTC(), Who: c.Who, Text: c.Reason}
	if lines := ChainChanges(was.Chain, is.Chain); len(lines) > 0 {
		e.Kind, e.EventDetail = ChainChanged, EventDetail{ChainBefore: was.Chain, ChainAfter: is.Chain, Changes: lines}
		all = append(all, e)
	}
	var lines []string
	for _, f := range []struct{ what, was, is string }{
		{"label", was.Label, is.Label}, {"owner", was.Owner, is.Owner}, {"serial", was.Serial, is.Serial},
		{"notes", was.Notes, is.Notes}, {"outputs", strings.Join(was.Outputs, ", "), strings.Join(is.Outputs, ", ")},
	} {
		if f.was != f.is {
			lines = append(lines, fmt.Sprintf("%s: %q before, %q now", f.what, f.was, f.is))
		}
	}
	if len(lines) > 0 {
		e.Kind, e.EventDetail = Edited, EventDetail{Changes: lines}
		all = append(all, e)
	}
	return all
}

// canBecome makes sure that a label is free and that no run loses an output.
func canBecome(ctx context.Context, tx *sql.Tx, was, is Board) error {
	other, err := scanBoard(tx.QueryRowContext(ctx, sqlBoardByKey, fold(is.Label)))
	switch {
	case err == nil && other.ID != was.ID:
		return ofKind(ErrDuplicate, "a board %q is registered already: give this one another label", other.Label)
	case err != nil && !errors.Is(err, sql.ErrNoRows):
		return err
	case slices.Equal(was.Outputs, is.Outputs):
		return nil
	}
	runs, err := collect(ctx, tx, scanRun, sqlRunsOfBoard, was.ID)
	if err != nil {
		return err
	}
	grown := len(is.Outputs) >= len(was.Outputs) && slices.Equal(was.Outputs, is.Outputs[:len(was.Outputs)])
	if len(runs) > 0 && !grown {
		return ofKind(ErrInvalid, "the outputs %s of board %q are named by runs of it: add others after them, or register another board",
			strings.Join(was.Outputs, ", "), was.Label)
	}
	return nil
}

func setBoard(ctx context.Context, tx *sql.Tx, b Board) error {
	outputs, err := json.Marshal(b.Outputs)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, sqlSetBoard, b.Label, fold(b.Label), b.Owner, fold(b.Owner), b.Serial, fold(b.Serial),
		string(outputs), b.Notes, b.ID); err != nil {
		return err
	}
	return replaceChain(ctx, tx, b.ID, b.Chain)
}

func replaceChain(ctx context.Context, tx *sql.Tx, boardID int64, chain []Device) error {
	if _, err := tx.ExecContext(ctx, sqlDropDevices, boardID); err != nil {
		return err
	}
	return insertChain(ctx, tx, boardID, chain)
}

// ChainChanges says what differs between two chains, a line each, by the
// devices' names; none where they are alike.
func ChainChanges(was, is []Device) []string {
	var lines []string
	place := func(in []Device, name string) int {
		return slices.IndexFunc(in, func(d Device) bool { return fold(d.Name) == fold(name) })
	}
	var before, after []string
	for i, d := range was {
		if place(is, d.Name) < 0 {
			lines = append(lines, fmt.Sprintf("removed %s from place %d", d, i+1))
		} else {
			before = append(before, fold(d.Name))
		}
	}
	for i, d := range is {
		j := place(was, d.Name)
		switch {
		case j < 0:
			lines = append(lines, fmt.Sprintf("added %s at place %d", d, i+1))
			continue
		case was[j] != d:
			lines = append(lines, fmt.Sprintf("changed %s, before %s", d, was[j]))
		}
		after = append(after, fold(d.Name))
	}
	if !slices.Equal(before, after) {
		lines = append(lines, "the order is now "+strings.Join(after, ", "))
	}
	if len(lines) == 0 && !slices.Equal(was, is) {
		lines = append(lines, "changed")
	}
	return lines
}

// String is the device in words.
func (d Device) String() string {
	text := fmt.Sprintf("%s (%s", d.Name, d.Kind)
	if d.SupplyV != 0 {
		text += fmt.Sprintf(", %g V", d.SupplyV)
	}
	if d.SupplyMA != 0 {
		text += fmt.Sprintf(", %g mA", d.SupplyMA)
	}
	if d.Plug != "" {
		text += ", " + d.Plug
	}
	return text + ")"
}
