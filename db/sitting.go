package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boardproof/capture"
)

// Kinds of sitting.
const (
	Acceptance  = "acceptance"
	Calibration = "calibration"
)

// Sitting is an acceptance or a calibration in the making. It is open until a
// run or a profile came of it, or it was given up.
type Sitting struct {
	ID      string    `json:"id"` // as in s20261125-0001
	Kind    string    `json:"kind"`
	BoardID int64     `json:"board_id,omitempty"` // 0 in a calibration
	Bench   string    `json:"bench"`
	Started time.Time `json:"started"` // UTC
	// Setup is what it must meet again to be gone on with.
	Setup json.RawMessage `json:"setup"`
}

// SittingEntry is one thing that a sitting came to: a take, one that could not
// be had, or an answer.
type SittingEntry struct {
	What string `json:"what"`
	// Prompt: it is a prompt, and all before it is done.
	Prompt bool `json:"prompt,omitempty"`
	// Take is nil where it is none; its file is kept already.
	Take *TakeRef `json:"take,omitempty"`
	// Refused is why a take could not be had, and Fault of which kind that is;
	// Last is what the last try showed.
	Refused string          `json:"refused,omitempty"`
	Fault   string          `json:"fault,omitempty"`
	Last    *capture.Proof  `json:"last,omitempty"`
	Answer  json.RawMessage `json:"answer,omitempty"`
	At      time.Time       `json:"at"`
}

// BeginSitting opens a sitting and returns it with its id. The error may be
// ErrNotFound, ErrNotWritable or ErrFull.
func (s *Store) BeginSitting(ctx context.Context, sit Sitting) (Sitting, error) {
	sit.Started = s.Now().UTC()
	err := s.write(ctx, "beginning the sitting", func(tx *sql.Tx) (err error) {
		if sit.ID, err = nextID(ctx, tx, "s", sit.Started, sqlLastSittingOfDay); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, sqlAddSitting, sit.ID, sit.Kind, orNull(sit.BoardID), sit.Bench, timeText(sit.Started), string(sit.Setup))
		return err
	})
	return sit, err
}

// KeepEntry adds what a sitting came to. The error is ErrNotFound where the
// sitting was ended meanwhile.
func (s *Store) KeepEntry(ctx context.Context, sitting string, e SittingEntry) error {
	e.At = s.Now().UTC()
	sha := ""
	if e.Take != nil {
		sha = e.Take.SHA256
	}
	body, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("writing down %s: %w", e.What, err)
	}
	return s.write(ctx, "writing down the sitting", func(tx *sql.Tx) error {
		if e.Take != nil {
			if err := s.checkTakes([]TakeRef{*e.Take}); err != nil {
				return err
			}
		}
		done, err := tx.ExecContext(ctx, sqlAddEntry, sitting, sha, string(body))
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, &NotFoundError{What: "open sitting", Name: sitting})
		}
		return nil
	})
}

// OpenSittings lists the sittings that can be gone on with, the oldest first.
func (s *Store) OpenSittings(ctx context.Context) ([]Sitting, error) {
	all, err := openSittings(ctx, s.db)
	if err != nil {
		return nil, fmt.Errorf("listing the open sittings: %w", storeFault(s.path, err))
	}
	return all, nil
}

func openSittings(ctx context.Context, q querier) ([]Sitting, error) {
	return collect(ctx, q, func(row scanner) (sit Sitting, err error) {
		var started, setup string
		if err := row.Scan(&sit.ID, &sit.Kind, &sit.BoardID, &sit.Bench, &started, &setup); err != nil {
			return sit, err
		}
		sit.Setup = json.RawMessage(setup)
		sit.Started, err = parseTime(started)
		return sit, err
	}, sqlOpenSittings)
}

// Entries are what a sitting came to, in order.
func (s *Store) Entries(ctx context.Context, sitting string) ([]SittingEntry, error) {
	all, err := collect(ctx, s.db, scanJSON[SittingEntry], sqlEntries, sitting)
	if err != nil {
		return nil, fmt.Errorf("reading sitting %s: %w", sitting, storeFault(s.path, err))
	}
	return all, nil
}

// GiveUp ends sittings of which nothing came.
func (s *Store) GiveUp(ctx context.Context, sittings ...string) error {
	return s.write(ctx, "giving the sitting up", func(tx *sql.Tx) error { return s.endSittings(ctx, tx, sittings, "") })
}

// endSittings ends sittings of which result came.
func (s *Store) endSittings(ctx context.Context, tx *sql.Tx, sittings []string, result string) error {
	for _, id := range sittings {
		if _, err := tx.ExecContext(ctx, sqlEndSitting, timeText(s.Now()), result, id); err != nil {
			return fmt.Errorf("ending sitting %s: %w", id, err)
		}
	}
	return nil
}

// Forget removes the files of a sitting that was ended which no row names, as
// those of a calibration: what came of it is kept, and whatever goes wrong here
// is left to Tidy.
func (s *Store) Forget(ctx context.Context, sitting string) error {
	entries, err := s.Entries(ctx, sitting)
	if err != nil {
		return err
	}
	var paths []string
	for _, e := range entries {
		if e.Take != nil {
			paths = append(paths, s.takeFile(e.Take.SHA256))
		}
	}
	return s.dropUnnamed(ctx, paths)
}
