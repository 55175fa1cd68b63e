package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// lifePart is something of a board's life beside its runs. Another table that
// belongs to a board is one more of these, and a test for it beside
// TestArchiveOfHunts.
type lifePart struct {
	name string // the record's type
	// gather adds the records of a board, in an order that is the same in
	// every store.
	gather func(ctx context.Context, s *Store, l *life) error
	// check finds what is wrong with a record, as it stands.
	check func(r record) error
	// keep takes a record in; added is false where it was there already.
	keep func(ctx context.Context, tx *sql.Tx, im *importing, r record) (added bool, err error)
}

var lifeParts = []lifePart{{"hunt", gatherHunts, checkHunt, keepHunt}, {"event", gatherEvents, checkEvent, keepEvent}}

// huntBody is a hunt without the ids of its store.
type huntBody struct {
	Hunt
	// Profile is the profile's digest.
	Profile string `json:"profile,omitempty"`
}

// huntText is what the digest of a hunt is of.
func huntText(h Hunt, profile string) ([]byte, error) {
	h.ID, h.BoardID, h.ProfileID, h.BoardAsWas.ID = "", 0, "", 0
	return canonicalJSON(huntBody{h, profile})
}

func gatherHunts(ctx context.Context, s *Store, l *life) error {
	hunts, err := s.Hunts(ctx, l.board.ID)
	if err != nil {
		return err
	}
	var all []record
	for _, h := range hunts {
		r, err := s.huntRecord(ctx, l, h.ID)
		if err != nil {
			return fmt.Errorf("hunt %s: %w", h.ID, err)
		}
		all = append(all, r)
	}
	l.addSorted(all)
	return nil
}

func (s *Store) huntRecord(ctx context.Context, l *life, id string) (record, error) {
	h, err := s.FindHunt(ctx, id)
	if err != nil {
		return record{}, err
	}
	for _, c := range h.Conditions {
		l.takes = append(l.takes, c.Take.SHA256)
	}
	profile := ""
	if h.ProfileID != "" {
		p, err := s.profileRecord(ctx, h.ProfileID)
		if err != nil {
			return record{}, err
		}
		l.addSorted([]record{p})
		profile = p.Digest
	}
	text, err := huntText(h, profile)
	if err != nil {
		return record{}, err
	}
	origin, err := scanText(s.db.QueryRowContext(ctx, sqlOrigin, "hunt", id))
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return record{}, err
	}
	return record{Type: "hunt", ID: cmp.Or(origin, id), Digest: hexSHA(text), Body: text}, nil
}

func parseHunt(r record) (huntBody, error) {
	var b huntBody
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return b, err
	}
	text, err := huntText(b.Hunt, b.Profile)
	switch {
	case err != nil:
		return b, err
	case !isID(r.ID, 'h') || len(b.Conditions) == 0:
		return b, fmt.Errorf("%.40q is no hunt", r.ID)
	case hexSHA(text) != r.Digest:
		return b, fmt.Errorf("hunt %s is of a newer boardproof: update boardproof", r.ID)
	}
	bad := func(c HuntCondition) bool { return !shaText.MatchString(c.Take.SHA256) }
	if slices.ContainsFunc(b.Conditions, bad) {
		return b, fmt.Errorf("hunt %s names a take by no SHA-256", r.ID)
	}
	return b, nil
}

func checkHunt(r record) error {
	_, err := parseHunt(r)
	return err
}

func keepHunt(ctx context.Context, tx *sql.Tx, im *importing, r record) (bool, error) {
	b, err := parseHunt(r)
	if err != nil {
		return false, err
	}
	had, err := im.hasHunt(ctx, tx, r)
	if err != nil || had {
		return false, err
	}
	h := b.Hunt
	if b.Profile != "" && im.profileIDs[b.Profile] == "" {
		return false, badArchive("it names a profile that is not there")
	}
	if h.ID, err = im.freeID(ctx, tx, r.ID, sqlHunt, sqlLastHuntOfDay); err != nil {
		return false, err
	}
	h.BoardID, h.BoardAsWas.ID, h.ProfileID = im.done.Board.ID, im.done.Board.ID, im.profileIDs[b.Profile]
	if err := h.insert(ctx, tx); err != nil {
		return false, err
	}
	_, err = tx.ExecContext(ctx, sqlAddOrigin, "hunt", h.ID, r.ID, r.Digest)
	return true, err
}

// hasHunt says whether the hunt is there, imported or made here.
func (im *importing) hasHunt(ctx context.Context, tx *sql.Tx, r record) (bool, error) {
	known, err := collect(ctx, tx, scanText, sqlOriginHas, "hunt", r.ID, r.Digest)
	if err != nil || len(known) > 0 {
		return true, err
	}
	if _, err := scanHunt(tx.QueryRowContext(ctx, sqlHunt, r.ID)); errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	now, err := huntDigestNow(ctx, tx, r.ID)
	return now == r.Digest, err
}
