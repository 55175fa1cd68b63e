package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"boardproof/analysis/verdict"
)

// Plan is one version of a board's acceptance plan, as text.
type Plan struct {
	ID      int64     `json:"id"`
	BoardID int64     `json:"board_id"`
	Version int       `json:"version"` // from 1
	Text    string    `json:"-"`       // TOML
	Created time.Time `json:"created"` // UTC
}

// SavePlan keeps text as the next version of a board's plan; text that is
// the newest version already is not kept again. Text that verdict.ParsePlan
// refuses, or that names outputs the board has not, is ErrInvalid.
func (s *Store) SavePlan(ctx context.Context, boardID int64, text []byte) (Plan, error) {
	board, err := s.Board(ctx, boardID)
	if err != nil {
		return Plan{}, err
	}
	parsed, err := verdict.ParsePlan(text)
	if err == nil {
		err = parsed.CheckOutputs(board.Outputs)
	}
	if err != nil {
		return Plan{}, ofKind(ErrInvalid, "the plan of board %q was not kept: %v", board.Label, err)
	}
	p := Plan{BoardID: boardID, Version: 1, Text: string(text), Created: s.Now().UTC()}
	err = s.write(ctx, fmt.Sprintf("keeping the plan of board %q", board.Label), func(tx *sql.Tx) error {
		last, err := scanPlan(tx.QueryRowContext(ctx, sqlLatestPlan, boardID))
		if err == nil && last.Text == p.Text {
			p = last
			return nil
		}
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		p.Version = last.Version + 1
		return p.insert(ctx, tx)
	})
	if err != nil {
		return Plan{}, err
	}
	return p, nil
}

// insert writes p and fills in its id.
func (p *Plan) insert(ctx context.Context, tx *sql.Tx) error {
	digest, err := p.digest(ctx, tx)
	if err != nil {
		return err
	}
	return tx.QueryRowContext(ctx, sqlAddPlan, p.BoardID, p.Version, p.Text, timeText(p.Created), digest).Scan(&p.ID)
}

// LatestPlan returns the newest version of a board's plan. The error may be a
// *NotFoundError: the board has no plan of its own yet.
func (s *Store) LatestPlan(ctx context.Context, boardID int64) (Plan, error) {
	return s.onePlan(ctx, fmt.Sprintf("of board %d", boardID), sqlLatestPlan, boardID)
}

// Plan returns the version of an id, as a run names it.
func (s *Store) Plan(ctx context.Context, id int64) (Plan, error) {
	return s.onePlan(ctx, fmt.Sprint(id), sqlPlan, id)
}

func (s *Store) onePlan(ctx context.Context, name, query string, key int64) (Plan, error) {
	p, err := scanPlan(s.db.QueryRowContext(ctx, query, key))
	if errors.Is(err, sql.ErrNoRows) {
		return Plan{}, &NotFoundError{What: "plan", Name: name}
	}
	if err != nil {
		return Plan{}, fmt.Errorf("reading plan %q: %w", name, storeFault(s.path, err))
	}
	return p, nil
}

func scanPlan(row scanner) (Plan, error) {
	var p Plan
	var created string
	if err := row.Scan(&p.ID, &p.BoardID, &p.Version, &p.Text, &created); err != nil {
		return Plan{}, err
	}
	var err error
	p.Created, err = parseTime(created)
	return p, err
}
