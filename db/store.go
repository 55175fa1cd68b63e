package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "github.com/mattn/go-sqlite3" // the driver
)

// Store is one open store. Its methods may be called at once, and several
// programs may have one store open.
type Store struct {
	// Now is the clock; tests set it.
	Now func() time.Time

	db   *sql.DB
	path string
}

// applicationID marks a SQLite file as ours: "bprf" as a big-endian number.
// The first migration writes it.
const applicationID = 0x62707266

// busyTimeoutMS is how long a writer waits for another.
const busyTimeoutMS = "5000"

// Open opens the store at path and brings its tables up to date; it makes the
// file, its folder and the folder for takes where they are missing. The error
// may be ErrNotWritable, ErrNotAStore, ErrNewer or ErrBusy; then an existing
// file is as it was.
func Open(ctx context.Context, path string) (*Store, error) {
	if path == "" {
		return nil, ofKind(ErrInvalid, "the store has no path: name a file")
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, ofKind(ErrNotWritable, "the store's folder cannot be made (%v): name another", err)
	}
	if err := checkOurs(ctx, path); err != nil {
		return nil, storeFault(path, err)
	}
	db, err := sql.Open("sqlite3", dsn(path))
	if err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	s := &Store{Now: time.Now, db: db, path: path}
	if err := s.prepare(ctx); err != nil {
		return nil, errors.Join(storeFault(path, err), db.Close())
	}
	return s, nil
}

func (s *Store) prepare(ctx context.Context) error {
	if err := migrate(ctx, s.db, s.path); err != nil {
		return err
	}
	if err := s.digestOldRows(ctx); err != nil {
		return err
	}
	// A store that can only be read is found out now, not after an hour at
	// the bench.
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("opening the store to write: %w", err)
	}
	if err := tx.Rollback(); err != nil {
		return fmt.Errorf("opening the store to write: %w", err)
	}
	if err := os.MkdirAll(s.takesDir(), 0o755); err != nil {
		return ofKind(ErrNotWritable, "the folder for takes cannot be made (%v): make the store's folder writable, or name another", err)
	}
	return nil
}

// dsn sets what every connection must have: a PRAGMA given once to a pool
// would hold for one of its connections only.
func dsn(path string) string {
	q := url.Values{
		"_foreign_keys": {"on"}, "_journal_mode": {"WAL"}, "_synchronous": {"FULL"},
		"_busy_timeout": {busyTimeoutMS}, "_txlock": {"immediate"},
	}
	return fileURI(path) + "?" + q.Encode()
}

func fileURI(path string) string { return "file:" + (&url.URL{Path: path}).EscapedPath() }

// checkOurs refuses a file that is something else before a connection that
// would write to it is made.
func checkOurs(ctx context.Context, path string) (err error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return ofKind(ErrNotWritable, "the store cannot be opened (%v): name another file", err)
	case !info.Mode().IsRegular():
		return ofKind(ErrNotAStore, "%s is not a file: name another", path)
	}
	db, err := sql.Open("sqlite3", fileURI(path)+"?mode=ro&_busy_timeout="+busyTimeoutMS)
	if err != nil {
		return fmt.Errorf("looking at the store: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	var id, tables int64
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return fmt.Errorf("looking at the store: %w", err)
	}
	if err := db.QueryRowContext(ctx, sqlCountTables).Scan(&tables); err != nil {
		return fmt.Errorf("looking at the store: %w", err)
	}
	if id != applicationID && tables > 0 {
		return ofKind(ErrNotAStore, "%s is the database of another program: name another file", path)
	}
	return nil
}

// Close closes the store.
func (s *Store) Close() error {
	if err := s.db.Close(); err != nil {
		return fmt.Errorf("closing the store: %w", err)
	}
	return nil
}

// Path returns the store's file.
func (s *Store) Path() string { return s.path }

// write runs f in one transaction: all of it is kept, or nothing.
func (s *Store) write(ctx context.Context, doing string, f func(*sql.Tx) error) error {
	err := s.inTx(ctx, f)
	if err != nil {
		return fmt.Errorf("%s: %w", doing, storeFault(s.path, err))
	}
	return nil
}

func (s *Store) inTx(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		// A context that ended has rolled back already.
		if undo := tx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
			return errors.Join(err, undo)
		}
		return err
	}
	return tx.Commit()
}

// timeLayout sorts as text.
const timeLayout = "2006-01-02T15:04:05.000000000Z"

func timeText(t time.Time) string { return t.UTC().Format(timeLayout) }

func parseTime(text string) (time.Time, error) {
	t, err := time.Parse(timeLayout, text)
	if err != nil {
		return time.Time{}, fmt.Errorf("reading a time: %w", err)
	}
	return t, nil
}
