package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// scanner is a *sql.Row or the current row of *sql.Rows.
type scanner interface{ Scan(dest ...any) error }

// querier is a *sql.DB or a *sql.Tx.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// collect scans every row of a query.
func collect[T any](ctx context.Context, q querier, scan func(scanner) (T, error), query string, args ...any) (all []T, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}

func scanText(row scanner) (string, error) {
	var text string
	err := row.Scan(&text)
	return text, err
}

// orNull keeps a zero, which in a reading means "does not apply", as null.
func orNull[T comparable](v T) any {
	var zero T
	if v == zero {
		return nil
	}
	return v
}

// nextID makes the next id of a day, as in r20261125-0001: ids sort in the
// order in which they were given and are short enough to type.
func nextID(ctx context.Context, tx *sql.Tx, letter string, now time.Time, lastOfDay string) (string, error) {
	day := letter + now.UTC().Format("20060102") + "-"
	last, err := scanText(tx.QueryRowContext(ctx, lastOfDay, day, afterPrefix(day)))
	if errors.Is(err, sql.ErrNoRows) {
		return day + "0001", nil
	}
	if err != nil {
		return "", fmt.Errorf("finding the last number of the day: %w", err)
	}
	n, err := strconv.Atoi(strings.TrimPrefix(last, day))
	if err != nil {
		return "", fmt.Errorf("finding the last number of the day: %w", err)
	}
	return fmt.Sprintf("%s%04d", day, n+1), nil
}

// wholeID finds the id that is, or begins with, what is given, by a query of ids
// from one to another, the shortest first. The error may be a *NotFoundError
// or an *AmbiguousError.
func (s *Store) wholeID(ctx context.Context, what, begin, query string) (string, error) {
	var ids []string
	key := fold(begin)
	if key != "" {
		var err error
		if ids, err = collect(ctx, s.db, scanText, query, key, afterPrefix(key), maxNear+1); err != nil {
			return "", fmt.Errorf("finding %s %q: %w", what, begin, storeFault(s.path, err))
		}
	}
	switch {
	case len(ids) == 0:
		return "", &NotFoundError{What: what, Name: begin}
	case len(ids) > 1 && ids[0] != key:
		return "", &AmbiguousError{What: what, Name: begin, Names: ids}
	}
	return ids[0], nil
}

// fold makes names equal that differ only in case.
func fold(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// afterPrefix is greater than every text that begins with prefix: no text
// has the last code point of Unicode in it.
func afterPrefix(prefix string) string { return prefix + "\U0010FFFF" }
