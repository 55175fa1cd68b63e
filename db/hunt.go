package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boardproof/analysis/hunt"
)

// Hunt is a hum hunt: a board's silences under one condition after another,
// and what they came to.
type Hunt struct {
	// ID is given by the store, as in h20261125-0001.
	ID      string `json:"id"`
	BoardID int64  `json:"board_id"`
	// BoardAsWas is the board when the hunt was kept; the store fills it in.
	BoardAsWas Board  `json:"board_as_was"`
	Name       string `json:"name,omitempty"`
	// Search is set in a search for one device of the chain: what takes the
	// others out, as a change of package hunt.
	Search string `json:"search,omitempty"`
	// Bench is empty where all was recorded elsewhere.
	Bench     string `json:"bench,omitempty"`
	ProfileID string `json:"profile_id,omitempty"`
	Simulated bool   `json:"simulated"`
	// Unfinished: it was stopped before its end; what is there is whole.
	Unfinished    bool      `json:"unfinished,omitempty"`
	Operator      string    `json:"operator,omitempty"`
	Started       time.Time `json:"started"`  // UTC
	Finished      time.Time `json:"finished"` // UTC
	MethodVersion string    `json:"method_version"`
	// Setup is what could be changed at the bench.
	Setup   hunt.Board   `json:"setup"`
	Finding hunt.Finding `json:"finding"`
	Notes   string       `json:"notes,omitempty"`

	Conditions []HuntCondition `json:"conditions,omitempty"`
}

// HuntCondition is one silence of a hunt.
type HuntCondition struct {
	hunt.Condition
	// On are the devices that were on, in a search.
	On []string `json:"on,omitempty"`
	// Why says why it was proposed; empty where the operator chose it.
	Why      string         `json:"why,omitempty"`
	Readings []hunt.Reading `json:"readings"`
	Take     TakeRef        `json:"take"`
}

// Readings are those of all conditions, in order.
func (h Hunt) Readings() []hunt.Reading {
	var all []hunt.Reading
	for _, c := range h.Conditions {
		all = append(all, c.Readings...)
	}
	return all
}

// SaveHunt keeps a hunt, whole or not at all, and returns it with what the
// store filled in. Its takes must be kept already, and its board and profile
// must be in the store. The error may be ErrInvalid, ErrNotFound,
// ErrTakeDamaged, ErrNotWritable or ErrBusy.
func (s *Store) SaveHunt(ctx context.Context, h Hunt) (Hunt, error) {
	switch {
	case len(h.Conditions) == 0:
		return Hunt{}, ofKind(ErrInvalid, "the hunt cannot be kept: nothing was measured")
	case h.MethodVersion == "":
		return Hunt{}, ofKind(ErrInvalid, "the hunt cannot be kept: it must name the version of its methods")
	case h.Started.IsZero() || h.Finished.Before(h.Started):
		return Hunt{}, ofKind(ErrInvalid, "the hunt cannot be kept: it has no start, or ended before it began")
	}
	takes := make([]TakeRef, len(h.Conditions))
	for i, c := range h.Conditions {
		takes[i] = c.Take
	}
	h.Started, h.Finished = h.Started.UTC(), h.Finished.UTC()
	err := s.write(ctx, "keeping the hunt", func(tx *sql.Tx) (err error) {
		ctx := context.WithoutCancel(ctx)
		if err := s.checkTakes(takes); err != nil {
			return err
		}
		if h.BoardAsWas, err = boardInTx(ctx, tx, h.BoardID); err != nil {
			return err
		}
		if err := profileFits(ctx, tx, h.ProfileID, h.Simulated, "hunt"); err != nil {
			return err
		}
		if h.ID, err = nextID(ctx, tx, "h", s.Now(), sqlLastHuntOfDay); err != nil {
			return err
		}
		return h.insert(ctx, tx)
	})
	if err != nil {
		return Hunt{}, err
	}
	return h, nil
}

// insert writes all of h; its own row comes last and closes it.
func (h Hunt) insert(ctx context.Context, tx *sql.Tx) error {
	for i, c := range h.Conditions {
		body, err := json.Marshal(c)
		if err != nil {
			return ofKind(ErrInvalid, "condition %d of the hunt, %s, has a figure that is none: %v", i+1, c.Condition, err)
		}
		if _, err := tx.ExecContext(ctx, sqlAddHuntCondition, h.ID, i, c.Change, c.Subject, c.Take.SHA256, string(body)); err != nil {
			return fmt.Errorf("writing condition %d: %w", i+1, err)
		}
	}
	var texts []any
	for _, v := range []any{h.BoardAsWas, h.Setup, h.Finding} {
		text, err := json.Marshal(v)
		if err != nil {
			return ofKind(ErrInvalid, "the hunt's finding has a figure that is none: %v", err)
		}
		texts = append(texts, string(text))
	}
	digest, err := h.digest(ctx, tx)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, sqlAddHunt, h.ID, h.BoardID, texts[0], h.Name, h.Search, h.Bench, orNull(h.ProfileID),
		h.Simulated, h.Unfinished, h.Operator, timeText(h.Started), timeText(h.Finished), h.MethodVersion, texts[1], texts[2], h.Notes, digest)
	if err != nil {
		return fmt.Errorf("writing its own row: %w", err)
	}
	return nil
}

// FindHunt returns a hunt, whole, by its id or the beginning of it. The error
// may be a *NotFoundError or an *AmbiguousError.
func (s *Store) FindHunt(ctx context.Context, id string) (Hunt, error) {
	whole, err := s.wholeID(ctx, "hunt", id, sqlHuntsFrom)
	if err != nil {
		return Hunt{}, err
	}
	h, err := scanHunt(s.db.QueryRowContext(ctx, sqlHunt, whole))
	if err == nil {
		h.Conditions, err = collect(ctx, s.db, scanJSON[HuntCondition], sqlHuntConditions, h.ID)
	}
	if err != nil {
		return Hunt{}, fmt.Errorf("reading hunt %q: %w", id, storeFault(s.path, err))
	}
	return h, nil
}

// Hunts lists the hunts of a board, or for 0 of all boards, in the order in
// which they were kept, without their conditions.
func (s *Store) Hunts(ctx context.Context, boardID int64) ([]Hunt, error) {
	hunts, err := collect(ctx, s.db, scanHunt, sqlHuntsOf, boardID)
	if err != nil {
		return nil, fmt.Errorf("listing hunts: %w", storeFault(s.path, err))
	}
	return hunts, nil
}

func scanHunt(row scanner) (Hunt, error) {
	var h Hunt
	var board, started, finished, setup, finding string
	var profile sql.NullString
	err := row.Scan(&h.ID, &h.BoardID, &board, &h.Name, &h.Search, &h.Bench, &profile, &h.Simulated, &h.Unfinished,
		&h.Operator, &started, &finished, &h.MethodVersion, &setup, &finding, &h.Notes)
	if err != nil {
		return Hunt{}, err
	}
	h.ProfileID = profile.String
	err = errors.Join(json.Unmarshal([]byte(board), &h.BoardAsWas), json.Unmarshal([]byte(setup), &h.Setup),
		json.Unmarshal([]byte(finding), &h.Finding))
	if err != nil {
		return Hunt{}, fmt.Errorf("reading what hunt %s holds: %w", h.ID, err)
	}
	if h.Started, err = parseTime(started); err != nil {
		return Hunt{}, err
	}
	h.Finished, err = parseTime(finished)
	return h, err
}
