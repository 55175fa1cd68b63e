package db

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
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

// migrate brings the tables up to date, each step in a transaction.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	files, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		return fmt.Errorf("reading the store's layout: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files,
		goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true),
		// A store that had a later file before an earlier one still gets both.
		goose.WithAllowOutofOrder(true))
	if err != nil {
		return fmt.Errorf("reading the store's layout: %w", err)
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

func migrateOnce(ctx context.Context, p *goose.Provider, path string) error {
	current, target, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("reading the store's version: %w", err)
	}
	if current > target {
		return ofKind(ErrNewer, "the store %s is of version %d and this boardproof knows versions up to %d: update boardproof",
			path, current, target)
	}
	pending, err := p.HasPending(ctx)
	if err != nil {
		return fmt.Errorf("reading the store's version: %w", err)
	}
	if !pending {
		return nil
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bringing the store up to date: %w", err)
	}
	return nil
}
