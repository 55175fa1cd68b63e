package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"boardproof/analysis/verdict"
)

// BoardQuery says which boards to find. What is empty is not asked for; texts
// are parts of what they look in, whatever the case.
type BoardQuery struct {
	// Name is a part of the label, the owner or the serial.
	Name   string
	Owner  string
	Serial string
	// Device is a part of "NAME, KIND" of a device of the chain.
	Device string
	// Verdicts are those that the latest run may have; "" for a run without
	// a plan.
	Verdicts []verdict.Outcome
	// NoRun finds boards that were never measured, and no others.
	NoRun bool
	// From and To are when the latest run was finished: from From on, before To.
	From, To time.Time
}

// FoundBoard is a board, without its chain, with its latest run.
type FoundBoard struct {
	Board
	Latest *LatestRun `json:"latest_run"` // nil: none
}

// LatestRun is the run that was finished last; one that was only computed
// again from the takes of another is none.
type LatestRun struct {
	ID        string          `json:"id"`
	Finished  time.Time       `json:"finished"` // UTC
	Verdict   verdict.Outcome `json:"verdict,omitempty"`
	Simulated bool            `json:"simulated"`
	Bench     string          `json:"bench"`
}

// FindBoards lists the boards that q asks for, by label.
func (s *Store) FindBoards(ctx context.Context, q BoardQuery) ([]FoundBoard, error) {
	from, to := "", ""
	if !q.From.IsZero() {
		from = timeText(q.From)
	}
	if !q.To.IsZero() {
		to = timeText(q.To)
	}
	found, err := collect(ctx, s.db, scanFound, sqlFindBoards, part(q.Name), part(q.Owner), part(q.Serial), part(q.Device), from, to)
	if err != nil {
		return nil, fmt.Errorf("finding boards: %w", storeFault(s.path, err))
	}
	return slices.DeleteFunc(found, func(b FoundBoard) bool {
		if q.NoRun {
			return b.Latest != nil
		}
		return len(q.Verdicts) > 0 && (b.Latest == nil || !slices.Contains(q.Verdicts, b.Latest.Verdict))
	}), nil
}

// part is a pattern for what has text in it.
func part(text string) string {
	return "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(fold(text)) + "%"
}

func scanFound(row scanner) (FoundBoard, error) {
	var b FoundBoard
	var outputs, created string
	var id, finished, outcome, bench sql.NullString
	var simulated sql.NullBool
	if err := row.Scan(&b.ID, &b.Label, &b.Owner, &b.Serial, &outputs, &b.Notes, &created, &b.UID,
		&id, &finished, &outcome, &simulated, &bench); err != nil {
		return FoundBoard{}, err
	}
	if err := json.Unmarshal([]byte(outputs), &b.Outputs); err != nil {
		return FoundBoard{}, fmt.Errorf("reading the outputs of board %q: %w", b.Label, err)
	}
	var err error
	if b.Created, err = parseTime(created); err != nil || !id.Valid {
		return b, err
	}
	b.Latest = &LatestRun{ID: id.String, Verdict: verdict.Outcome(outcome.String), Simulated: simulated.Bool, Bench: bench.String}
	b.Latest.Finished, err = parseTime(finished.String)
	return b, err
}
