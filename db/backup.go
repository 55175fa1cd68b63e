package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// BackedUp is what a backup or a restored store consists of.
type BackedUp struct {
	Path  string `json:"path"`
	Runs  int    `json:"runs"`
	Takes int    `json:"takes"`
	Bytes int64  `json:"bytes"` // of database and takes together
	// Missing are takes that were not there to be copied, Damaged those that
	// are not what was kept; those are not copied.
	Missing []string `json:"missing,omitempty"`
	Damaged []string `json:"damaged,omitempty"`
}

// Backup copies the whole store to path, a file, and its takes to the folder
// beside it: what it makes is a store like any other. The store may be written
// to meanwhile; the copy is of one moment. Nothing may be at path yet, and
// where copying fails nothing is left there. The error may be ErrDuplicate or
// ErrNotWritable.
func (s *Store) Backup(ctx context.Context, path string, progress Progress) (out BackedUp, err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return BackedUp{}, fmt.Errorf("backing up: %w", err)
	}
	takes := path + ".takes"
	if err := nothingAt(path, takes, path+"-wal"); err != nil {
		return BackedUp{}, err
	}
	if err := os.MkdirAll(takes, 0o755); err != nil {
		return BackedUp{}, ofKind(ErrNotWritable, "the backup's folder cannot be made (%v): name another", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreMissing(os.Remove(path)), os.RemoveAll(takes))
		}
	}()
	progress.tell("copying the database", 0, 0)
	// The rows first: the takes of every run in them are on the disk already,
	// as a run is only kept after its takes.
	if _, err := s.db.ExecContext(ctx, sqlCopyStore, path); err != nil {
		return BackedUp{}, fmt.Errorf("backing up to %s: %w", path, storeFault(path, err))
	}
	copied, err := Open(ctx, path)
	if err != nil {
		return BackedUp{}, fmt.Errorf("backing up: %w", err)
	}
	defer func() { err = errors.Join(err, copied.Close()) }()
	out.Path = path
	if err := copied.fetchTakes(ctx, s, &out, progress); err != nil {
		return BackedUp{}, fmt.Errorf("backing up: %w", err)
	}
	return out, syncDirs(takes, filepath.Dir(path))
}

func nothingAt(paths ...string) error {
	for _, p := range paths {
		if _, err := os.Lstat(p); err == nil {
			return ofKind(ErrDuplicate, "%s is there already: name a file that is not", p)
		}
	}
	return nil
}

// fetchTakes copies the takes that s names from another store, each held
// against its digest on the way.
func (s *Store) fetchTakes(ctx context.Context, from *Store, out *BackedUp, progress Progress) error {
	runs, err := collect(ctx, s.db, scanText, sqlAllRuns)
	if err != nil {
		return err
	}
	out.Runs = len(runs)
	uses, err := s.takeUses(ctx)
	if err != nil {
		return err
	}
	uses = firstUses(uses)
	var done, of int64
	for _, u := range uses {
		of += from.takeBytes(u.sha)
	}
	for _, u := range uses {
		if err := ctx.Err(); err != nil {
			return err
		}
		size, err := s.fetchTake(from, u)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			out.Missing = append(out.Missing, u.sha)
		case errors.Is(err, ErrInvalid):
			out.Damaged = append(out.Damaged, u.sha)
		case err != nil:
			return err
		default:
			out.Takes, done = out.Takes+1, done+size
		}
		progress.tell("copying takes", done, of)
	}
	info, err := os.Stat(s.path)
	if err != nil {
		return err
	}
	out.Bytes = done + info.Size()
	return nil
}

func (s *Store) fetchTake(from *Store, u takeUse) (size int64, err error) {
	f, err := os.Open(from.takeFile(u.sha))
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	_, err = s.importTake(u.sha, f)
	return info.Size(), err
}

// Restore makes a store at path of a backup and verifies it. Nothing may be at
// path yet. What is damaged in the backup is in the result, and the rest is
// restored; where its database cannot be opened nothing is left at path. The
// error may be ErrDuplicate, ErrNotAStore, ErrNewer or ErrNotWritable.
func Restore(ctx context.Context, backup, path string, progress Progress) (out BackedUp, v Verified, err error) {
	from := &Store{path: backup}
	if err := checkBackup(ctx, backup, from.takesDir()); err != nil {
		return out, v, err
	}
	if path, err = filepath.Abs(path); err != nil {
		return out, v, fmt.Errorf("restoring: %w", err)
	}
	if err := nothingAt(path, path+".takes", path+"-wal"); err != nil {
		return out, v, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, removeAll([]string{path, path + "-wal", path + "-shm"}), os.RemoveAll(path+".takes"))
		}
	}()
	progress.tell("copying the database", 0, 0)
	if err := copyFile(backup, path); err != nil {
		return out, v, err
	}
	s, err := Open(ctx, path)
	if err != nil {
		return out, v, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	out.Path = path
	if err := s.fetchTakes(ctx, from, &out, progress); err != nil {
		return out, v, fmt.Errorf("restoring: %w", err)
	}
	if err := syncDirs(s.takesDir(), filepath.Dir(path)); err != nil {
		return out, v, err
	}
	v, err = s.Verify(ctx, progress)
	return out, v, err
}

// checkBackup finds what is no backup, or one that is written to.
func checkBackup(ctx context.Context, backup, takes string) error {
	if _, err := os.Stat(backup); err != nil {
		return ofKind(ErrNotAStore, "the backup %s cannot be read (%v)", backup, errors.Unwrap(err))
	}
	if log, err := os.Stat(backup + "-wal"); err == nil && log.Size() > 0 {
		return ofKind(ErrNotAStore, "%s is a store in use, not a backup: 'boardproof backup' makes one of it", backup)
	}
	if _, err := os.Stat(takes); err != nil {
		return ofKind(ErrNotAStore, "the backup %s has no folder %s beside it: put it there", backup, filepath.Base(takes))
	}
	return storeFault(backup, checkOurs(ctx, backup))
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("reading %s: %w", from, err)
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return ofKind(ErrNotWritable, "the store's folder cannot be made (%v): name another", err)
	}
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return ofKind(ErrNotWritable, "the store cannot be made (%v): name another file", err)
	}
	_, err = io.Copy(out, in)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		return fmt.Errorf("copying to %s: %w", to, err)
	}
	return nil
}
