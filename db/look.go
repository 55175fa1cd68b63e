package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// look finds out, without SQLite, whether there is a store at s.path, and
// whether there was one that is gone.
func (s *Store) look(h how) error {
	info, err := s.files.Stat(s.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := s.lookForRemains("is not there"); err != nil || h == making {
			return err
		}
		return ofKind(ErrNoStore, "there is no store %s: name the one that is meant with --store, or begin one with 'boardproof bench set' or 'boardproof board add'", s.path)
	case err != nil && h == making:
		return ofKind(ErrNotWritable, "the store's folder cannot be made (%v): name another", err)
	case err != nil:
		return fileFault(err, "the store cannot be opened (%v): name another file")
	case !info.Mode().IsRegular():
		return ofKind(ErrNotAStore, "%s is not a file: name another", s.path)
	case info.Size() > 0:
		return nil
	}
	if err := s.lookForRemains("is an empty file"); err != nil || h == making {
		return err
	}
	return ofKind(ErrNoStore, "%s is an empty file and no store: name the one that is meant with --store", s.path)
}

// lookForRemains finds what only a store leaves beside itself. To make a new
// one there would give its takes to nobody, and SQLite would throw its log away.
func (s *Store) lookForRemains(how string) error {
	takes := 0
	entries, err := s.files.ReadDir(s.takesDir())
	if err != nil && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrPermission) {
		if info, statErr := s.files.Stat(s.takesDir()); statErr == nil && info.IsDir() {
			return fmt.Errorf("looking beside the store: %w", err)
		}
	}
	for _, e := range entries {
		if takeFileName.MatchString("takes/" + e.Name()) {
			takes++
		}
	}
	log, err := s.files.Stat(s.path + "-wal")
	switch {
	case takes > 0:
		return ofKind(ErrNoStore, "the store %s %s, but its recordings (%d) are in %s: put the store back, or name another", s.path, how, takes, filepath.Base(s.takesDir()))
	case err == nil && log.Size() > 0:
		return ofKind(ErrNoStore, "the store %s %s, but its log %s-wal is there: put the store back, or name another", s.path, how, filepath.Base(s.path))
	}
	return nil
}

// looking is how a file is looked at before it is opened as a store.
const looking = "?mode=ro&_busy_timeout=5000"

// lookingOnly is for where nothing can be written, SQLite's locks and the index
// of its log neither. Without a log the file is all there is; with one the index
// is made in memory.
func (s *Store) lookingOnly() string {
	if log, err := s.files.Stat(s.path + "-wal"); err != nil || log.Size() == 0 {
		return "?mode=ro&immutable=1"
	}
	vfs := "unix-none"
	if runtime.GOOS == "windows" {
		vfs = "win32-none"
	}
	return "?mode=ro&_locking_mode=EXCLUSIVE&vfs=" + vfs
}

// checkOurs refuses a file that is something else before a connection that
// would write to it is made.
func (s *Store) checkOurs(ctx context.Context, h how, by string) (err error) {
	if _, err := s.files.Stat(s.path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	db, err := sql.Open("sqlite3", fileURI(s.path)+by)
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
	switch {
	case id != applicationID && tables > 0:
		return ofKind(ErrNotAStore, "%s is the database of another program: name another file", s.path)
	case id != applicationID && h != making:
		return ofKind(ErrNoStore, "%s has no tables and is no store yet: name the one that is meant with --store", s.path)
	}
	return nil
}

// openToRead opens a store where nothing can be written. Tables of an older
// version are brought up to date in a copy elsewhere.
func (s *Store) openToRead(ctx context.Context) (err error) {
	s.readOnly = true
	by := looking
	if err := s.checkOurs(ctx, reading, by); err != nil {
		if _, isKind := errors.AsType[*kindError](err); isKind {
			return err
		}
		by = s.lookingOnly()
		if err := s.checkOurs(ctx, reading, by); err != nil {
			return err
		}
	}
	if s.db, err = sql.Open("sqlite3", fileURI(s.path)+by+"&_foreign_keys=on"); err != nil {
		return fmt.Errorf("opening the store: %w", err)
	}
	pending, err := pendingMigrations(ctx, s.db, s.path)
	if err == nil && pending {
		err = s.openCopy(ctx)
	} else if err == nil {
		err = s.readSealed(ctx)
	}
	if err != nil {
		return errors.Join(err, s.db.Close())
	}
	return nil
}

// openCopy puts a copy in the place of the database that is open, and brings
// it up to date.
func (s *Store) openCopy(ctx context.Context) (err error) {
	dir, err := os.MkdirTemp("", "boardproof-")
	if err != nil {
		return fmt.Errorf("making a copy of the store: %w", err)
	}
	s.copied = filepath.Join(dir, "store.db")
	if _, err := s.db.ExecContext(ctx, sqlCopyStore, s.copied); err != nil {
		return errors.Join(fmt.Errorf("making a copy of the store: %w", err), os.RemoveAll(dir))
	}
	if err := s.db.Close(); err != nil {
		return err
	}
	if s.db, err = sql.Open("sqlite3", dsn(s.copied)); err != nil {
		return err
	}
	if err := migrate(ctx, s.db, s.copied); err != nil {
		return err
	}
	if err := s.prepareSeals(ctx); err != nil {
		return err
	}
	return s.digestOldRows(ctx)
}

// removeStore removes a database, its log and the folder made for it.
func removeStore(files fileSystem, path string) error {
	return errors.Join(removeAll(files, []string{path, path + "-wal", path + "-shm"}), files.Remove(filepath.Dir(path)))
}
