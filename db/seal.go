package db

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"slices"
	"strconv"
	"strings"
)

// A seal is the digest of a row with all its columns, and of all rows that are
// part of it, as readings are of a run. Tables and columns are those that
// SQLite names, so that a new one is sealed without a line here. A column that
// holds what it holds by default is left out: one that is added later changes
// no seal.

// sealedTable is a table whose rows have seals of their own. Its parts are the
// tables whose primary key begins with a reference to it.
type sealedTable struct {
	name    string
	columns []sealedColumn // by name
	key     []string       // the primary key
	parts   []*sealedTable // by name
	// of is the column that names the row that a part belongs to.
	of string
}

type sealedColumn struct {
	name     string
	defaults any
}

// readSealed reads from the schema which tables there are to seal.
func (s *Store) readSealed(ctx context.Context) error {
	s.sealed = nil
	names, err := collect(ctx, s.db, scanText, sqlSealable)
	if err != nil {
		return err
	}
	all := map[string]*sealedTable{}
	for _, name := range names {
		if all[name], err = readTable(ctx, s.db, name); err != nil {
			return fmt.Errorf("reading what table %s is made of: %w", name, err)
		}
	}
	for _, name := range names {
		t := all[name]
		parent, err := scanText(s.db.QueryRowContext(ctx, sqlPartOf, name, t.key[0]))
		if errors.Is(err, sql.ErrNoRows) || err == nil && len(t.key) == 1 {
			s.sealed = append(s.sealed, t)
			continue
		}
		if err != nil {
			return err
		}
		t.of = t.key[0]
		all[parent].parts = append(all[parent].parts, t)
	}
	return nil
}

func readTable(ctx context.Context, q querier, name string) (*sealedTable, error) {
	t := &sealedTable{name: name}
	type column struct {
		name     string
		defaults sql.NullString
		key      int
	}
	columns, err := collect(ctx, q, func(row scanner) (c column, err error) {
		err = row.Scan(&c.name, &c.defaults, &c.key)
		return c, err
	}, sqlColumns, name)
	if err != nil {
		return nil, err
	}
	for _, c := range columns {
		sealed := sealedColumn{name: c.name}
		if c.defaults.Valid && !strings.Contains(c.defaults.String, "(") {
			if err := q.QueryRowContext(ctx, "SELECT "+c.defaults.String).Scan(&sealed.defaults); err != nil {
				return nil, err
			}
		}
		t.columns = append(t.columns, sealed)
	}
	slices.SortFunc(columns, func(a, b column) int { return cmp.Compare(a.key, b.key) })
	for _, c := range columns {
		if c.key > 0 {
			t.key = append(t.key, c.name)
		}
	}
	if len(t.key) == 0 {
		return nil, errors.New("it has no primary key")
	}
	return t, nil
}

// rowKey names a row by its primary key.
func rowKey(key []any) string {
	text := make([]string, len(key))
	for i, k := range key {
		text[i] = fmt.Sprint(k)
	}
	return strings.Join(text, " ")
}

func quotedNames(names []string) string {
	return `"` + strings.Join(names, `", "`) + `"`
}

// seal is the digest of the row with a key, "" where there is none.
func (t *sealedTable) seal(ctx context.Context, q querier, key []any) (string, error) {
	where := make([]string, len(t.key))
	for i, k := range t.key {
		where[i] = fmt.Sprintf(`"%s" = $%d`, k, i+1)
	}
	sum := sha256.New()
	n, err := t.hashRows(ctx, q, sum, strings.Join(where, " AND "), key...)
	if err != nil || n == 0 {
		return "", err
	}
	for _, part := range t.parts {
		if _, err := part.hashRows(ctx, q, sum, fmt.Sprintf(`"%s" = $1`, part.of), key[0]); err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// hashRows hashes rows in the order of their keys, each value with its column
// and its type, and counts them.
func (t *sealedTable) hashRows(ctx context.Context, q querier, sum hash.Hash, where string, args ...any) (n int, err error) {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	query := fmt.Sprintf(`SELECT %s FROM "%s" WHERE %s ORDER BY %s`, quotedNames(names), t.name, where, quotedNames(t.key))
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	values, into := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		into[i] = &values[i]
	}
	for ; rows.Next(); n++ {
		if err := rows.Scan(into...); err != nil {
			return n, err
		}
		fmt.Fprintf(sum, "%q\n", t.name)
		for i, c := range t.columns {
			now := typedText(values[i])
			if now != typedText(c.defaults) {
				fmt.Fprintf(sum, "%q %s\n", c.name, now)
			}
		}
	}
	return n, rows.Err()
}

func typedText(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case int64:
		return "integer " + strconv.FormatInt(v, 10)
	case float64:
		return "real " + strconv.FormatFloat(v, 'g', -1, 64)
	case []byte:
		return "bytes " + strconv.Quote(string(v))
	}
	return "text " + strconv.Quote(fmt.Sprint(v))
}

// keys are the primary keys of the rows that a condition fits.
func (t *sealedTable) keys(ctx context.Context, q querier, where string, args ...any) ([][]any, error) {
	return collect(ctx, q, func(row scanner) ([]any, error) {
		key, into := make([]any, len(t.key)), make([]any, len(t.key))
		for i := range key {
			into[i] = &key[i]
		}
		err := row.Scan(into...)
		return key, err
	}, fmt.Sprintf(`SELECT %s FROM "%s" WHERE %s ORDER BY %s`, quotedNames(t.key), t.name, where, quotedNames(t.key)), args...)
}

// keep writes the seal of the row with a key as it is now.
func (t *sealedTable) keep(ctx context.Context, tx *sql.Tx, key []any) error {
	seal, err := t.seal(ctx, tx, key)
	if err != nil || seal == "" {
		return err
	}
	_, err = tx.ExecContext(ctx, sqlSetSeal, t.name, rowKey(key), seal)
	return err
}

// checkSeal finds a row that was changed past boardproof before it is changed
// by it, as its seal would hide that. The error is ErrChanged.
func (s *Store) checkSeal(ctx context.Context, tx *sql.Tx, table string, key ...any) error {
	i := slices.IndexFunc(s.sealed, func(t *sealedTable) bool { return t.name == table })
	was, err := scanText(tx.QueryRowContext(ctx, sqlSeal, table, rowKey(key)))
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	now, err := s.sealed[i].seal(ctx, tx, key)
	if err == nil && now != was {
		err = ofKind(ErrChanged, "%s, row %s, is not as it was kept (%s): put back a copy of the store", table, rowKey(key), changedWords(now, was))
	}
	return err
}
