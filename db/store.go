package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path/filepath"
	"time"

	_ "github.com/mattn/go-sqlite3" // the driver
)

// Store is one open store. Its methods may be called at once, and several
// programs may have one store open.
type Store struct {
	// Now is the clock; tests set it.
	Now func() time.Time
	// Waiting, where not nil, is told once when a write has to wait for
	// another program that holds the store.
	Waiting func()

	db    *sql.DB
	path  string
	files fileSystem
	// file is the database as it was when it was opened.
	file fs.FileInfo
	// sealed are the tables whose rows have seals.
	sealed []*sealedTable
	// readOnly: opened by OpenReading where it cannot be written.
	readOnly bool
	// copied is a copy that stands in for the database, "" where none does.
	copied string
}

// applicationID marks a SQLite file as ours: "bprf" as a big-endian number.
// The first migration writes it.
const applicationID = 0x62707266

// busyTimeoutMS is how long SQLite itself waits for another that writes. It
// cannot be interrupted there; inTx goes on waiting after it.
const busyTimeoutMS = "500"

// how says what a store is opened for.
type how int

const (
	making   how = iota // what is not there is made
	existing            // it must be there
	reading             // it must be there, and need not be writable
	tidying             // it must be there, and its disk may be full
)

// Open opens the store at path and brings its tables up to date; it makes the
// file, its folder and the folder for takes where they are missing, but never
// beside the takes of a store that is gone. The error may be ErrNoStore,
// ErrNotWritable, ErrFull, ErrBroken, ErrNotAStore, ErrNewer or ErrBusy; then
// an existing file is as it was.
func Open(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, making, osFiles{})
}

// OpenExisting is Open for a store that is there: where none is, or it is
// empty, the error is ErrNoStore and nothing is made.
func OpenExisting(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, existing, osFiles{})
}

// OpenReading is OpenExisting for a store that may lie where nothing can be
// written: on a read-only medium, in another user's folder, on a full disk.
// There nothing is written and writing fails with ErrNotWritable.
func OpenReading(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, reading, osFiles{})
}

// OpenTidying is OpenExisting for a store whose disk may be full: then nobody
// else can have it open meanwhile, as SQLite holds what the others would need in
// memory, and what Tidy throws away needs no room but for takes of runs.
func OpenTidying(ctx context.Context, path string) (*Store, error) {
	return open(ctx, path, tidying, osFiles{})
}

func open(ctx context.Context, path string, h how, files fileSystem) (*Store, error) {
	if path == "" {
		return nil, ofKind(ErrInvalid, "the store has no path: name a file")
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	s := &Store{Now: time.Now, path: path, files: files}
	if err := s.look(h); err != nil {
		return nil, err
	}
	if h == making {
		if err := files.MkdirAll(filepath.Dir(path)); err != nil {
			return nil, fileFault(err, "the store's folder cannot be made (%v): name another")
		}
	}
	err = s.openToWrite(ctx, h)
	if h == reading && isUnwritable(err) {
		err = s.openToRead(ctx)
	}
	if h == tidying && errors.Is(err, ErrFull) {
		err = s.openFull(ctx)
	}
	if err != nil {
		return nil, storeFault(path, err)
	}
	return s, nil
}

// openFull opens a store on a disk that has no room for the index of its log.
func (s *Store) openFull(ctx context.Context) (err error) {
	s.db, err = sql.Open("sqlite3", fileURI(s.path)+"?_foreign_keys=on&_synchronous=FULL&_txlock=immediate&_locking_mode=EXCLUSIVE&_busy_timeout="+busyTimeoutMS)
	if err != nil {
		return fmt.Errorf("opening the store: %w", err)
	}
	s.db.SetMaxOpenConns(1)
	pending, err := pendingMigrations(ctx, s.db, s.path)
	if err == nil && pending {
		err = ofKind(ErrFull, "the disk of the store %s is full, and its tables must be brought up to date first: make room on it", s.path)
	}
	if err == nil {
		err = s.readSealed(ctx)
	}
	if err == nil {
		s.file, err = s.files.Stat(s.path)
	}
	if err != nil {
		return errors.Join(err, s.db.Close())
	}
	return nil
}

// isUnwritable says whether err is one that reading alone may not meet.
func isUnwritable(err error) bool {
	for _, kind := range []error{ErrNotWritable, ErrFull, ErrBroken} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

func (s *Store) openToWrite(ctx context.Context, h how) (err error) {
	if err := s.checkOurs(ctx, h, looking); err != nil {
		return storeFault(s.path, err)
	}
	if s.db, err = sql.Open("sqlite3", dsn(s.path)); err != nil {
		return fmt.Errorf("opening the store: %w", err)
	}
	if err := s.prepare(ctx); err != nil {
		return errors.Join(storeFault(s.path, err), s.db.Close())
	}
	return nil
}

func (s *Store) prepare(ctx context.Context) error {
	if err := migrate(ctx, s.db, s.path); err != nil {
		return err
	}
	if err := s.prepareSeals(ctx); err != nil {
		return err
	}
	if err := s.digestOldRows(ctx); err != nil {
		return err
	}
	// A store that can only be read is found out now, not after an hour at
	// the bench.
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil && !isBusy(err) {
		return fmt.Errorf("opening the store to write: %w", err)
	}
	if err == nil {
		if err := tx.Rollback(); err != nil {
			return fmt.Errorf("opening the store to write: %w", err)
		}
	}
	if err := s.files.MkdirAll(s.takesDir()); err != nil {
		return fileFault(err, "the folder for takes cannot be made (%v): make the store's folder writable, or name another")
	}
	if s.file, err = s.files.Stat(s.path); err != nil {
		return fmt.Errorf("looking at the store: %w", err)
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

// Close closes the store.
func (s *Store) Close() error {
	err := s.db.Close()
	if s.copied != "" {
		err = errors.Join(err, removeStore(osFiles{}, s.copied))
	}
	if err != nil {
		return fmt.Errorf("closing the store: %w", err)
	}
	return nil
}

// Path returns the store's file.
func (s *Store) Path() string { return s.path }

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
