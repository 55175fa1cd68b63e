package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// rowDigest is a kind of row that is kept with the digest of what it holds.
// What a row names, and its board, is in it by what is the same in every store.
type rowDigest struct {
	what string
	// all lists the rows of a board, for 0 of all; profiles and runs, which an
	// export reads anyway, only of all.
	all string
	// undigested lists those of before there were digests, and set gives such a
	// row its digest; "" where they stay without.
	undigested, set string
	// now makes the digest of a row as it is.
	now func(ctx context.Context, q querier, id string) (string, error)
}

var rowDigests = []rowDigest{
	{"profile", sqlProfileDigests, "", "", profileDigestNow},
	{"plan", sqlPlanDigests, sqlUndigestedPlans, sqlSetPlanDigest, planDigestNow},
	{"event", sqlEventDigests, sqlUndigestedEvents, sqlSetEventDigest, eventDigestNow},
	{"hunt", sqlHuntDigests, sqlUndigestedHunts, sqlSetHuntDigest, huntDigestNow},
	{"run", sqlRunDigests, "", "", runDigestNow},
}

// digestedRow is one row: name is what people know it by, plan the id of that
// whose text is in its digest, "" for none.
type digestedRow struct{ id, name, digest, board, plan string }

func scanDigestedRow(s scanner) (r digestedRow, err error) {
	err = s.Scan(&r.id, &r.name, &r.digest, &r.board, &r.plan)
	return r, err
}

// wrong says what is wrong with a row, "" for nothing.
func (d rowDigest) wrong(ctx context.Context, q querier, r digestedRow) string {
	now, err := d.now(ctx, q, r.id)
	switch {
	case err != nil:
		return fmt.Sprintf("it cannot be read: %v", err)
	case r.digest != "" && now != r.digest:
		return changedWords(now, r.digest)
	}
	return ""
}

func changedWords(now, was string) string {
	return fmt.Sprintf("changed since it was kept: its digest is %.16s and was %.16s", now, was)
}

// checkRows finds a row of a board that is not as it was kept. The error is
// ErrChanged.
func checkRows(ctx context.Context, q querier, boardID int64) error {
	for _, d := range rowDigests {
		rows, err := collect(ctx, q, scanDigestedRow, d.all, boardID)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if how := d.wrong(ctx, q, r); how != "" {
				return ofKind(ErrChanged, "%s %s is not as it was kept (%s): put back a copy of the store", d.what, r.name, how)
			}
		}
	}
	return nil
}

// digestOldRows gives the rows of before there were digests theirs. One that
// cannot be read stays without: Verify names it.
func (s *Store) digestOldRows(ctx context.Context) error {
	for _, d := range rowDigests {
		if d.undigested == "" {
			continue
		}
		ids, err := collect(ctx, s.db, scanText, d.undigested)
		if err != nil {
			return fmt.Errorf("looking for rows without a digest: %w", err)
		}
		if len(ids) == 0 {
			continue
		}
		err = s.inTx(ctx, func(tx *sql.Tx) error {
			for _, id := range ids {
				now, err := d.now(ctx, tx, id)
				if ctx.Err() != nil {
					return ctx.Err()
				}
				if err != nil {
					continue
				}
				if _, err := tx.ExecContext(ctx, d.set, now, id); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("giving each %s its digest: %w", d.what, err)
		}
	}
	return nil
}

// boardUID is what a board is in every store.
func boardUID(ctx context.Context, q querier, id int64) (string, error) {
	b, err := scanBoard(q.QueryRowContext(ctx, sqlBoardByID, id))
	return b.UID, err
}

// digest is of all of a plan's version but its id: what a board is held
// against hangs on the version too. Runs and archives name a plan by the
// SHA-256 of its text alone.
func (p Plan) digest(ctx context.Context, q querier) (string, error) {
	uid, err := boardUID(ctx, q, p.BoardID)
	if err != nil {
		return "", fmt.Errorf("the board of a plan: %w", err)
	}
	text, err := canonicalJSON(struct {
		Board   string    `json:"board"`
		Version int       `json:"version"`
		Created time.Time `json:"created"`
		Text    string    `json:"text"`
	}{uid, p.Version, p.Created.UTC(), p.Text})
	return hexSHA(text), err
}

func planDigestNow(ctx context.Context, q querier, id string) (string, error) {
	p, err := scanPlan(q.QueryRowContext(ctx, sqlPlan, id))
	if err != nil {
		return "", err
	}
	return p.digest(ctx, q)
}

// digest is of all of an event but its id.
func (e Event) digest(ctx context.Context, q querier) (string, error) {
	uid, err := boardUID(ctx, q, e.BoardID)
	if err != nil {
		return "", fmt.Errorf("the board of an event: %w", err)
	}
	body, err := e.body(ctx, q)
	if err != nil {
		return "", err
	}
	text, err := canonicalJSON(struct {
		UID   string `json:"uid"`
		Board string `json:"board"`
		eventBody
	}{e.UID, uid, body})
	return hexSHA(text), err
}

func eventDigestNow(ctx context.Context, q querier, id string) (string, error) {
	e, err := scanEvent(q.QueryRowContext(ctx, sqlEvent, id))
	if err != nil {
		return "", err
	}
	return e.digest(ctx, q)
}

// digest is of all of a hunt but the ids of its store, as in an archive.
func (h Hunt) digest(ctx context.Context, q querier) (string, error) {
	profile := ""
	if h.ProfileID != "" {
		var err error
		if profile, err = keptProfileDigest(ctx, q, h.ProfileID); err != nil {
			return "", fmt.Errorf("the digest of profile %s: %w", h.ProfileID, err)
		}
	}
	text, err := huntText(h, profile)
	return hexSHA(text), err
}

func huntDigestNow(ctx context.Context, q querier, id string) (string, error) {
	h, err := scanHunt(q.QueryRowContext(ctx, sqlHunt, id))
	if err == nil {
		h.Conditions, err = collect(ctx, q, scanJSON[HuntCondition], sqlHuntConditions, id)
	}
	if err != nil {
		return "", err
	}
	return h.digest(ctx, q)
}

func profileDigestNow(ctx context.Context, q querier, id string) (string, error) {
	body, err := scanText(q.QueryRowContext(ctx, sqlProfile, id))
	if err != nil {
		return "", err
	}
	return profileDigest(body)
}

func runDigestNow(ctx context.Context, q querier, id string) (string, error) {
	r, err := scanRun(q.QueryRowContext(ctx, sqlRun, id))
	if err == nil {
		err = r.load(ctx, q)
	}
	if err != nil {
		return "", err
	}
	return Digest(r), nil
}
