package db

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// Another program that makes the same new store at the same moment is given
// this long to finish.
const (
	migrateTries = 20
	migratePause = 100 * time.Millisecond
)

func migrations(db *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		return nil, fmt.Errorf("reading the store's layout: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files,
		goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true),
		// A store that had a later file before an earlier one still gets both.
		goose.WithAllowOutofOrder(true))
	if err != nil {
		return nil, fmt.Errorf("reading the store's layout: %w", err)
	}
	return p, nil
}

// migrate brings the tables up to date, each step in a transaction.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	p, err := migrations(db)
	if err != nil {
		return err
	}
	for try := 1; ; try++ {
		err := migrateOnce(ctx, p, path)
		if err == nil || try == migrateTries || isKind(err) {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("bringing the store up to date: %w", ctx.Err())
		case <-time.After(migratePause):
		}
	}
}

// pendingMigrations says, without writing, whether the tables are of an older
// version. The error is ErrNewer where they are of a later one.
func pendingMigrations(ctx context.Context, db *sql.DB, path string) (bool, error) {
	p, err := migrations(db)
	if err != nil {
		return false, err
	}
	applied, err := collect(ctx, db, func(row scanner) (v int64, err error) {
		err = row.Scan(&v)
		return v, err
	}, sqlAppliedMigrations)
	if err != nil {
		return false, fmt.Errorf("reading the store's version: %w", err)
	}
	known := p.ListSources()
	newest := known[len(known)-1].Version
	if current := slices.Max(append(applied, 0)); current > newest {
		return false, newerError(path, current, newest)
	}
	missing := func(m *goose.Source) bool { return !slices.Contains(applied, m.Version) }
	return slices.ContainsFunc(known, missing), nil
}

func newerError(path string, current, newest int64) error {
	return ofKind(ErrNewer, "the store %s is of version %d and this boardproof knows versions up to %d: update boardproof", path, current, newest)
}

func pendingIn(ctx context.Context, p *goose.Provider, path string) (bool, error) {
	current, target, err := p.GetVersions(ctx)
	if err != nil {
		return false, fmt.Errorf("reading the store's version: %w", err)
	}
	if current > target {
		return false, newerError(path, current, target)
	}
	pending, err := p.HasPending(ctx)
	if err != nil {
		return false, fmt.Errorf("reading the store's version: %w", err)
	}
	return pending, nil
}

func migrateOnce(ctx context.Context, p *goose.Provider, path string) error {
	pending, err := pendingIn(ctx, p, path)
	if err != nil || !pending {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bringing the store up to date: %w", err)
	}
	return nil
}
