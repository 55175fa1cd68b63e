package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/mattn/go-sqlite3"
)

// rowids is a span of rows of one table.
type rowids struct {
	table       string
	first, last int64
}

// watchRows notes every row that is written through a connection until stop.
func watchRows(conn *sql.Conn) (touched *[]rowids, stop func(), err error) {
	touched = &[]rowids{}
	watch := func(f func(op int, db, table string, rowid int64)) error {
		return conn.Raw(func(driver any) error {
			c, ok := driver.(*sqlite3.SQLiteConn)
			if !ok {
				return errors.New("the driver is another than SQLite's")
			}
			c.RegisterUpdateHook(f)
			return nil
		})
	}
	err = watch(func(_ int, _, table string, rowid int64) {
		if n := len(*touched); n > 0 {
			if last := &(*touched)[n-1]; last.table == table && (rowid == last.last+1 || rowid == last.last) {
				last.last = rowid
				return
			}
		}
		*touched = append(*touched, rowids{table, rowid, rowid})
	})
	return touched, func() { watch(nil) }, err //nolint:errcheck // it could be set, so it can be unset
}

// sealTouched seals every row that was written, and every row that one written
// is part of. A row that is deleted takes its seal with it only where a table
// forgets on purpose; none does.
func (s *Store) sealTouched(ctx context.Context, tx *sql.Tx, touched *[]rowids) error {
	ctx = context.WithoutCancel(ctx)
	for _, t := range s.sealed {
		done := map[string]bool{}
		for _, span := range *touched {
			keys, err := t.writtenIn(ctx, tx, span)
			if err != nil {
				return fmt.Errorf("sealing %s: %w", t.name, err)
			}
			for _, key := range keys {
				if done[rowKey(key)] {
					continue
				}
				done[rowKey(key)] = true
				if err := t.keep(ctx, tx, key); err != nil {
					return fmt.Errorf("sealing %s: %w", t.name, err)
				}
			}
		}
	}
	return nil
}

// writtenIn are the keys of the rows of t that a span of rows is of.
func (t *sealedTable) writtenIn(ctx context.Context, q querier, span rowids) ([][]any, error) {
	if span.table == t.name {
		return t.keys(ctx, q, "rowid BETWEEN $1 AND $2", span.first, span.last)
	}
	i := slices.IndexFunc(t.parts, func(p *sealedTable) bool { return p.name == span.table })
	if i < 0 {
		return nil, nil
	}
	part := t.parts[i]
	in := fmt.Sprintf(`"%s" IN (SELECT "%s" FROM "%s" WHERE rowid BETWEEN $1 AND $2)`, t.key[0], part.of, part.name)
	return t.keys(ctx, q, in, span.first, span.last)
}

// prepareSeals seals what was kept before there were seals, once, and the
// migrations, which are not written by inTx.
func (s *Store) prepareSeals(ctx context.Context) error {
	if err := s.readSealed(ctx); err != nil {
		return err
	}
	first, todo, err := s.unsealed(ctx)
	if err != nil || !first && !todo {
		return err
	}
	err = s.inTx(ctx, func(tx *sql.Tx) error {
		for _, t := range s.sealed {
			if !first && t.name != migrationsTable {
				continue
			}
			keys, err := t.keys(ctx, tx, "true")
			if err != nil {
				return err
			}
			for _, key := range keys {
				_, err := scanText(tx.QueryRowContext(ctx, sqlSeal, t.name, rowKey(key)))
				if errors.Is(err, sql.ErrNoRows) {
					err = t.keep(ctx, tx, key)
				}
				if err != nil {
					return err
				}
			}
		}
		_, err := tx.ExecContext(ctx, sqlSetSealed)
		return err
	})
	if err != nil {
		return fmt.Errorf("sealing what the store holds: %w", err)
	}
	return nil
}

// migrationsTable is the one that the library for migrations keeps.
const migrationsTable = "goose_db_version"

// unsealed says whether nothing was sealed yet, and whether a migration was not.
func (s *Store) unsealed(ctx context.Context) (first, migration bool, err error) {
	var version, migrations int
	if err := s.db.QueryRowContext(ctx, sqlSealVersion).Scan(&version); err != nil {
		return false, false, err
	}
	err = s.db.QueryRowContext(ctx, sqlUnsealedMigrations).Scan(&migrations)
	return version == 0, migrations > 0, err
}

// seals holds every row against its seal, but for those that were named
// damaged already.
func (v *verifying) seals(ctx context.Context) error {
	for _, t := range v.sealed {
		type seal struct{ key, digest string }
		all, err := collect(ctx, v.db, func(row scanner) (k seal, err error) {
			err = row.Scan(&k.key, &k.digest)
			return k, err
		}, sqlSealsOf, t.name)
		if err != nil {
			return err
		}
		was := map[string]string{}
		for _, k := range all {
			was[k.key] = k.digest
		}
		keys, err := t.keys(ctx, v.db, "true")
		if err != nil {
			return err
		}
		for _, key := range keys {
			if err := v.sealOf(ctx, t, key, was); err != nil {
				return err
			}
		}
		for _, k := range all {
			if _, left := was[k.key]; left {
				v.damaged("row", t.name+" "+k.key, "", "it is gone")
			}
		}
	}
	return v.foreignSeals(ctx)
}

// sealOf looks at one row and takes its seal out of was.
func (v *verifying) sealOf(ctx context.Context, t *sealedTable, key []any, was map[string]string) error {
	name := rowKey(key)
	digest, sealed := was[name]
	delete(was, name)
	now, err := t.seal(ctx, v.db, key)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case v.spoilt[strings.TrimSuffix(t.name, "s")+" "+name]:
	case err != nil:
		v.damaged("row", t.name+" "+name, "", "it cannot be read: %v", err)
	case !sealed:
		v.damaged("row", t.name+" "+name, "", "another program wrote it, or its seal is gone")
	case digest != now:
		v.damaged("row", t.name+" "+name, "", "%s", changedWords(now, digest))
	}
	return nil
}

// foreignSeals are those of tables that there are not.
func (v *verifying) foreignSeals(ctx context.Context) error {
	tables, err := collect(ctx, v.db, scanText, sqlSealedTables)
	for _, name := range tables {
		if !slices.ContainsFunc(v.sealed, func(t *sealedTable) bool { return t.name == name }) {
			v.damaged("row", "seals "+name, "", "there is a seal for a table that there is not")
		}
	}
	return err
}
