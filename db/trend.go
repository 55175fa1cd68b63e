package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"boardproof/analysis/verdict"
)

// SeriesQuery says which readings to follow over time: one quantity of one
// board, or of all boards on one bench of this store.
type SeriesQuery struct {
	BoardID int64
	// Bench is a bench's name, as it is kept, where BoardID is 0.
	Bench    string
	Quantity string
	Output   string // "" for all
	// Runs is how many of the latest runs are looked through, 0 for all.
	Runs int
	// Budget asks for the readings' budgets too.
	Budget bool
}

// SeriesPoint is one reading with the run that it is of.
type SeriesPoint struct {
	RunID         string    `json:"run"`
	BoardID       int64     `json:"board_id"`
	Board         string    `json:"board"` // its label now
	Bench         string    `json:"bench"`
	ProfileID     string    `json:"profile,omitempty"`
	Simulated     bool      `json:"simulated"`
	At            time.Time `json:"at"` // when the run was started, UTC
	MethodVersion string    `json:"method_version"`
	Reading       verdict.Judged
}

// Series reads one quantity over all runs in one query, oldest first. Runs that
// were computed again, and readings that are absent, are left out; a
// correction and what it corrects are both there.
func (s *Store) Series(ctx context.Context, q SeriesQuery) ([]SeriesPoint, error) {
	query, of := sqlSeriesOfBoard, any(q.BoardID)
	if q.BoardID == 0 {
		query, of = sqlSeriesOfBench, q.Bench
	}
	limit := q.Runs
	if limit <= 0 {
		limit = -1
	}
	points, err := collect(ctx, s.db, scanSeriesPoint, query, q.Budget, of, limit, q.Quantity, q.Output)
	if err != nil {
		return nil, fmt.Errorf("reading %s over time: %w", q.Quantity, storeFault(s.path, err))
	}
	return points, nil
}

// prefixed scans a row whose first columns are someone else's.
type prefixed struct {
	scanner
	before []any
}

func (p prefixed) Scan(dest ...any) error { return p.scanner.Scan(slices.Concat(p.before, dest)...) }

func scanSeriesPoint(row scanner) (SeriesPoint, error) {
	var p SeriesPoint
	var profile sql.NullString
	var started string
	var err error
	p.Reading, err = scanReading(prefixed{row, []any{&p.RunID, &p.BoardID, &p.Board, &p.Bench, &profile, &p.Simulated, &started, &p.MethodVersion}})
	if err != nil {
		return SeriesPoint{}, err
	}
	p.ProfileID = profile.String
	p.At, err = parseTime(started)
	return p, err
}
