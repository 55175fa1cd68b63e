package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// insert writes all of r; its own row comes last and closes it.
func (r Run) insert(ctx context.Context, tx *sql.Tx) error {
	for _, part := range []func(context.Context, *sql.Tx) error{
		r.insertReadings, r.insertCurves, r.insertRefused, r.insertTakes,
	} {
		if err := part(ctx, tx); err != nil {
			return err
		}
	}
	board, err := json.Marshal(r.BoardAsWas)
	if err != nil {
		return fmt.Errorf("writing its board: %w", err)
	}
	_, err = tx.ExecContext(ctx, sqlAddRun, r.ID, r.BoardID, string(board), r.Bench, orNull(r.ProfileID), orNull(r.PlanID),
		r.Simulated, r.Operator, timeText(r.Started), timeText(r.Finished), r.MethodVersion, orNull(r.Corrects),
		string(r.Verdict), r.Notes, r.Digest, orNull(r.Recomputes), r.OriginID)
	if err != nil {
		return fmt.Errorf("writing its own row: %w", err)
	}
	return nil
}

func (r Run) insertReadings(ctx context.Context, tx *sql.Tx) (err error) {
	add, err := tx.PrepareContext(ctx, sqlAddReading)
	if err != nil {
		return fmt.Errorf("writing its readings: %w", err)
	}
	defer func() { err = errors.Join(err, add.Close()) }()
	for i, j := range r.Readings {
		value, u, k := &j.Value, &j.Uncertainty, &j.K
		if j.Absent {
			value, u, k = nil, nil, nil
		}
		var limit verdict.Limit
		if j.Limit != nil {
			limit = *j.Limit
		}
		budget, err := budgetText(j.Budget)
		if err != nil {
			return fmt.Errorf("writing reading %d, %s: %w", i+1, j.Quantity, err)
		}
		_, err = add.ExecContext(ctx, r.ID, i, j.Step, j.State, j.Quantity, j.Output, j.Reference, orNull(j.FrequencyHz),
			orNull(j.Harmonic), j.Weighting, value, j.Unit, u, k, j.UpperBound, j.LowerBound, j.FloorLimited,
			limit.Min, limit.Max, string(j.Verdict), j.Note, r.MethodVersion,
			budget, j.ChanceWrong)
		if err != nil {
			return fmt.Errorf("writing reading %d, %s: %w", i+1, j.Quantity, err)
		}
	}
	return nil
}

// budgetText is "" for a reading without a budget, as those of older stores are.
func budgetText(b analysis.Budget) (string, error) {
	if len(b) == 0 {
		return "", nil
	}
	text, err := json.Marshal(b)
	if err != nil {
		return "", ofKind(ErrInvalid, "its budget has a contribution that is no figure: %v", err)
	}
	return string(text), nil
}

func (r Run) insertCurves(ctx context.Context, tx *sql.Tx) error {
	for i, c := range r.Curves {
		body, err := json.Marshal(c)
		if err != nil {
			return ofKind(ErrInvalid, "the %s curve of output %q has a point that is no figure: %v", c.Quantity, c.Output, err)
		}
		if _, err := tx.ExecContext(ctx, sqlAddCurve, r.ID, i, c.Quantity, c.Output, string(body)); err != nil {
			return fmt.Errorf("writing curve %d, %s: %w", i+1, c.Quantity, err)
		}
	}
	return nil
}

func (r Run) insertRefused(ctx context.Context, tx *sql.Tx) error {
	for i, f := range r.Refused {
		if _, err := tx.ExecContext(ctx, sqlAddRefusal, r.ID, i, f.Quantity, f.Output, f.Reference, f.State, f.Reason); err != nil {
			return fmt.Errorf("writing refusal %d, %s: %w", i+1, f.Quantity, err)
		}
	}
	return nil
}

func (r Run) insertTakes(ctx context.Context, tx *sql.Tx) error {
	for i, t := range r.Takes {
		body, err := json.Marshal(t)
		if err != nil {
			return fmt.Errorf("writing take %d: %w", i+1, err)
		}
		if _, err := tx.ExecContext(ctx, sqlAddTake, r.ID, i, t.SHA256, t.Step, t.Attempt, string(body)); err != nil {
			return fmt.Errorf("writing take %d: %w", i+1, err)
		}
	}
	return nil
}

// load reads the parts of r that a list leaves out.
func (r *Run) load(ctx context.Context, db querier) (err error) {
	if r.Readings, err = collect(ctx, db, scanReading, sqlReadings, r.ID); err != nil {
		return fmt.Errorf("readings: %w", err)
	}
	if r.Curves, err = collect(ctx, db, scanJSON[analysis.Curve], sqlCurves, r.ID); err != nil {
		return fmt.Errorf("curves: %w", err)
	}
	if r.Refused, err = collect(ctx, db, scanRefusal, sqlRefusals, r.ID); err != nil {
		return fmt.Errorf("refusals: %w", err)
	}
	if r.Takes, err = collect(ctx, db, scanJSON[TakeRef], sqlTakes, r.ID); err != nil {
		return fmt.Errorf("takes: %w", err)
	}
	return r.name(ctx, db)
}

func scanReading(row scanner) (verdict.Judged, error) {
	var j verdict.Judged
	var frequency, value, u, k, lo, hi, chance sql.NullFloat64
	var budget string
	var harmonic sql.NullInt64
	err := row.Scan(&j.Step, &j.State, &j.Quantity, &j.Output, &j.Reference, &frequency, &harmonic, &j.Weighting,
		&value, &j.Unit, &u, &k, &j.UpperBound, &j.LowerBound, &j.FloorLimited, &lo, &hi, &j.Verdict, &j.Note,
		&budget, &chance)
	if err != nil {
		return verdict.Judged{}, err
	}
	j.FrequencyHz, j.Harmonic = frequency.Float64, int(harmonic.Int64)
	j.Value, j.Uncertainty, j.K, j.Absent = value.Float64, u.Float64, k.Float64, !value.Valid
	if lo.Valid || hi.Valid {
		j.Limit = &verdict.Limit{Min: pointer(lo), Max: pointer(hi)}
	}
	j.ChanceWrong = pointer(chance)
	if budget != "" {
		if err := json.Unmarshal([]byte(budget), &j.Budget); err != nil {
			return verdict.Judged{}, fmt.Errorf("the budget of %s: %w", j.Quantity, err)
		}
	}
	return j, nil
}

func scanRefusal(row scanner) (analysis.Refusal, error) {
	var f analysis.Refusal
	err := row.Scan(&f.Quantity, &f.Output, &f.Reference, &f.State, &f.Reason)
	return f, err
}

func scanJSON[T any](row scanner) (v T, err error) {
	body, err := scanText(row)
	if err != nil {
		return v, err
	}
	err = json.Unmarshal([]byte(body), &v)
	return v, err
}

func pointer(v sql.NullFloat64) *float64 {
	if !v.Valid {
		return nil
	}
	return &v.Float64
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
