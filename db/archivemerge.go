package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Difference is something that a board is otherwise in an archive than it was
// here when it came.
type Difference struct {
	// Field is "label", "owner", "serial", "notes", "outputs" or "chain".
	Field string `json:"field"`
	// What says both in words.
	What string `json:"what"`
	// TakenOver: the board is here now as in the archive; otherwise it stayed as
	// it was. Why says the reason.
	TakenOver bool   `json:"taken_over"`
	Why       string `json:"why"`
}

// boardFields are what edits change, with what differs in words, "" for
// nothing, and how to take it over.
var boardFields = []struct {
	name string
	what func(here, there Board) string
	take func(here *Board, there Board)
}{
	{"label", func(a, b Board) string { return otherText(a.Label, b.Label) }, func(a *Board, b Board) { a.Label = b.Label }},
	{"owner", func(a, b Board) string { return otherText(a.Owner, b.Owner) }, func(a *Board, b Board) { a.Owner = b.Owner }},
	{"serial", func(a, b Board) string { return otherText(a.Serial, b.Serial) }, func(a *Board, b Board) { a.Serial = b.Serial }},
	{"notes", func(a, b Board) string { return otherText(a.Notes, b.Notes) }, func(a *Board, b Board) { a.Notes = b.Notes }},
	{"outputs", func(a, b Board) string {
		return otherText(strings.Join(a.Outputs, ", "), strings.Join(b.Outputs, ", "))
	}, func(a *Board, b Board) { a.Outputs = b.Outputs }},
	{"chain", func(a, b Board) string {
		lines := ChainChanges(a.Chain, b.Chain)
		if len(lines) == 0 {
			return ""
		}
		return "in the archive, against here: " + strings.Join(lines, "; ")
	}, func(a *Board, b Board) { a.Chain = b.Chain }},
}

func otherText(here, there string) string {
	if here == there {
		return ""
	}
	return fmt.Sprintf("%q here, %q in the archive", here, there)
}

// touched are the fields that e, an event of EditBoard, changed.
func (e Event) touched() []string {
	switch e.Kind {
	case ChainChanged:
		return []string{"chain"}
	case Edited:
		var fields []string
		for _, line := range e.Changes {
			name, _, _ := strings.Cut(line, ":")
			fields = append(fields, name)
		}
		return fields
	}
	return nil
}

// mergeBoard brings a board that was here up to what was changed of it there.
// What was changed there alone is taken over; what was changed here stays, and
// so does what was changed in both places: nobody can tell which is right.
// The changes themselves are in the board's history either way.
func (im *importing) mergeBoard(ctx context.Context, tx *sql.Tx) error {
	if im.done.New {
		return nil
	}
	now, err := collect(ctx, tx, scanEvent, sqlEventsOfBoard, im.done.Board.ID)
	if err != nil {
		return err
	}
	changed := map[bool]map[string]bool{true: {}, false: {}} // by whether it was here before
	for _, e := range now {
		before, there := im.eventsHere[e.UID], slices.ContainsFunc(im.parts, func(r record) bool { return r.Type == "event" && r.ID == e.UID })
		if before && there {
			continue
		}
		for _, field := range e.touched() {
			changed[before][field] = true
		}
	}
	merged := im.done.Board
	for _, f := range boardFields {
		d := Difference{Field: f.name, What: f.what(im.done.Board, im.board)}
		if d.What == "" {
			continue
		}
		switch here, there := changed[true][f.name], changed[false][f.name]; {
		case here && there:
			d.Why = "changed here and there"
		case here:
			d.Why = "changed here since"
		case !there && f.name == "label":
			d.Why = "registered so here, as its own label was taken"
		case !there:
			d.Why = "nobody wrote down that it was changed"
		default:
			next := merged
			f.take(&next, im.board)
			if d.Why, err = whyNot(ctx, tx, merged, next); err != nil {
				return err
			}
			if d.TakenOver = d.Why == ""; d.TakenOver {
				merged, d.Why = next, "changed there since"
			}
		}
		im.done.Differences = append(im.done.Differences, d)
	}
	im.done.Board = merged
	return setBoard(ctx, tx, merged)
}

// whyNot says why a board cannot become another, "" where it can.
func whyNot(ctx context.Context, tx *sql.Tx, was, is Board) (string, error) {
	err := canBecome(ctx, tx, was, is)
	if errors.Is(err, ErrDuplicate) || errors.Is(err, ErrInvalid) {
		return err.Error(), nil
	}
	return "", err
}
