package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// eventBody is an event as an archive carries it: without the ids of its
// store. The record's id is its UID.
type eventBody struct {
	Kind     EventKind `json:"kind"`
	Happened time.Time `json:"happened"`
	Kept     time.Time `json:"kept"`
	Who      string    `json:"who,omitempty"`
	Text     string    `json:"text,omitempty"`
	// RunOrigin and RunDigest are of the run that it names, Corrects the UID of
	// the event that it corrects.
	RunOrigin string `json:"run_origin,omitempty"`
	RunDigest string `json:"run_digest,omitempty"`
	Corrects  string `json:"corrects,omitempty"`
	EventDetail
}

// body is e without the ids of its store.
func (e Event) body(ctx context.Context, q querier) (eventBody, error) {
	b := eventBody{Kind: e.Kind, Happened: e.Happened, Kept: e.Kept, Who: e.Who, Text: e.Text, EventDetail: e.EventDetail}
	if e.RunID != "" {
		r, err := scanRun(q.QueryRowContext(ctx, sqlRun, e.RunID))
		if err != nil {
			return b, fmt.Errorf("the run that it names: %w", err)
		}
		b.RunOrigin = r.origin()
		if b.RunDigest, err = keptRunDigest(ctx, q, e.RunID); err != nil {
			return b, err
		}
	}
	if e.Corrects != "" {
		old, err := scanEvent(q.QueryRowContext(ctx, sqlEvent, e.Corrects))
		if err != nil {
			return b, fmt.Errorf("the event that it corrects: %w", err)
		}
		b.Corrects = old.UID
	}
	return b, nil
}

// gatherEvents adds the events, in the order in which they were written down,
// so that what is corrected comes first.
func gatherEvents(ctx context.Context, s *Store, l *life) error {
	events, err := s.Events(ctx, l.board.ID)
	if err != nil {
		return err
	}
	slices.SortFunc(events, func(a, b Event) int {
		return cmp.Or(a.Kept.Compare(b.Kept), cmp.Compare(len(a.Corrects), len(b.Corrects)), cmp.Compare(a.UID, b.UID))
	})
	for _, e := range events {
		b, err := e.body(ctx, s.db)
		if err != nil {
			return err
		}
		if err := l.add(record{Type: "event", ID: e.UID}, b); err != nil {
			return err
		}
	}
	return nil
}

func parseEvent(r record) (eventBody, error) {
	var b eventBody
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return b, err
	}
	text, err := canonicalJSON(b)
	switch {
	case err != nil:
		return b, err
	case len(r.ID) != 32 || b.Kind == "" || b.Kept.IsZero() || b.Happened.IsZero():
		return b, fmt.Errorf("%.40q is no event", r.ID)
	case hexSHA(text) != r.Digest:
		return b, fmt.Errorf("event %s is of a newer boardproof: update boardproof", r.ID)
	}
	return b, nil
}

func checkEvent(r record) error {
	_, err := parseEvent(r)
	return err
}

// keepEvent takes an event in; mergeBoard makes of it what is to be made.
func keepEvent(ctx context.Context, tx *sql.Tx, im *importing, r record) (bool, error) {
	b, err := parseEvent(r)
	if err != nil {
		return false, err
	}
	_, err = scanEvent(tx.QueryRowContext(ctx, sqlEventByUID, r.ID))
	if !errors.Is(err, sql.ErrNoRows) {
		return false, err
	}
	e := Event{UID: r.ID, BoardID: im.done.Board.ID, Kind: b.Kind, Happened: b.Happened, Kept: b.Kept, Who: b.Who, Text: b.Text, EventDetail: b.EventDetail}
	if b.RunDigest != "" {
		if e.RunID = im.runIDs[runKey{b.RunOrigin, b.RunDigest}]; e.RunID == "" {
			return false, badArchive("it names a run that is not there")
		}
	}
	if b.Corrects != "" {
		old, err := scanEvent(tx.QueryRowContext(ctx, sqlEventByUID, b.Corrects))
		if err != nil || old.BoardID != e.BoardID {
			return false, badArchive("it corrects an event that is not there")
		}
		e.Corrects = old.ID
	}
	return true, insertEvent(ctx, tx, &e)
}
