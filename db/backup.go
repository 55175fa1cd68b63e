package db

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"time"
)

// BackedUp is what a backup or a restored store consists of.
type BackedUp struct {
	Path  string `json:"path"`
	Runs  int    `json:"runs"`
	Takes int    `json:"takes"`
	Bytes int64  `json:"bytes"` // of database and takes together
	// Missing are takes that were not there to be copied, but for those that were
	// tidied away, Damaged those that
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
	if err := nothingAt(s.files, path, path+".takes", path+"-wal"); err != nil {
		return BackedUp{}, err
	}
	work, err := beginCopy(s.files, path)
	if err != nil {
		return BackedUp{}, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, removeCopy(s.files, work))
		}
	}()
	progress.tell("copying the database", 0, 0)
	// The rows first: the takes of every run in them are on the disk already,
	// as a run is only kept after its takes.
	if _, err := s.db.ExecContext(ctx, sqlCopyStore, work); err != nil {
		return BackedUp{}, fmt.Errorf("backing up to %s: %w", path, storeFault(path, err))
	}
	out, err = finishCopy(ctx, s, work, progress)
	if err == nil {
		err = nameCopy(s.files, work, path)
	}
	if err != nil {
		return BackedUp{}, fmt.Errorf("backing up: %w", err)
	}
	out.Path = path
	return out, nil
}

// unfinished is where a copy is made that goes to path when it is whole. What a
// program that was killed left there is known by its name.
func unfinished(path string) string {
	return filepath.Join(filepath.Dir(path), ".boardproof-unfinished-"+filepath.Base(path))
}

// beginCopy makes the folder for takes of a copy, in place of what a program
// that was killed left of one.
func beginCopy(files fileSystem, path string) (work string, err error) {
	if err := files.MkdirAll(filepath.Dir(path)); err != nil {
		return "", fileFault(err, "the copy's folder cannot be made (%v): name another")
	}
	work = unfinished(path)
	if err := removeCopy(files, work); err != nil {
		return "", fileFault(err, "what is left of an unfinished copy cannot be removed (%v): name another")
	}
	if err := files.MkdirAll(work + ".takes"); err != nil {
		return "", fileFault(err, "the copy's folder cannot be made (%v): name another")
	}
	return work, nil
}

// nameCopy gives a whole copy its own name, the database last: it is what makes
// a store of the folder beside it. Where that fails nothing has the name.
func nameCopy(files fileSystem, work, path string) error {
	if err := files.Rename(work+".takes", path+".takes"); err != nil {
		return err
	}
	err := files.Rename(work, path)
	if err == nil {
		return syncDirs(files, filepath.Dir(path))
	}
	return errors.Join(err, files.Rename(path+".takes", work+".takes"))
}

// finishCopy opens the copy of a database and fetches its takes.
func finishCopy(ctx context.Context, from *Store, path string, progress Progress) (out BackedUp, err error) {
	copied, err := open(ctx, path, existing, from.files)
	if err != nil {
		return BackedUp{}, err
	}
	defer func() { err = errors.Join(err, copied.Close()) }()
	copied.Now = from.Now
	out.Path = path
	if err := copied.fetchTakes(ctx, from, &out, progress); err != nil {
		return BackedUp{}, err
	}
	return out, copied.syncTakes()
}

// removeCopy removes what was copied so far: the takes, and then what names
// them.
func removeCopy(files fileSystem, path string) error {
	takes := path + ".takes"
	entries, err := files.ReadDir(takes)
	var paths []string
	for _, e := range entries {
		paths = append(paths, filepath.Join(takes, e.Name()))
	}
	return errors.Join(ignoreMissing(err), removeAll(files, append(paths, takes, path, path+"-wal", path+"-shm")))
}

func nothingAt(files fileSystem, paths ...string) error {
	for _, p := range paths {
		if _, err := files.Lstat(p); err == nil {
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
	uses, err := takeUses(ctx, s.db)
	if err != nil {
		return err
	}
	uses = firstUses(uses)
	tidied, err := s.tidied(ctx)
	if err != nil {
		return err
	}
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
		case errors.Is(err, fs.ErrNotExist) && tidied[u.sha]:
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
	info, err := s.files.Stat(s.path)
	if err != nil {
		return err
	}
	out.Bytes = done + info.Size()
	return nil
}

func (s *Store) fetchTake(from *Store, u takeUse) (size int64, err error) {
	f, err := from.files.Open(from.takeFile(u.sha))
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
	return restore(ctx, osFiles{}, backup, path, progress)
}

func restore(ctx context.Context, files fileSystem, backup, path string, progress Progress) (out BackedUp, v Verified, err error) {
	from := &Store{path: backup, files: files, Now: time.Now}
	if err := from.checkBackup(ctx); err != nil {
		return out, v, err
	}
	if path, err = filepath.Abs(path); err != nil {
		return out, v, fmt.Errorf("restoring: %w", err)
	}
	if err := nothingAt(files, path, path+".takes", path+"-wal"); err != nil {
		return out, v, err
	}
	work, err := beginCopy(files, path)
	if err != nil {
		return out, v, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, removeCopy(files, work), removeCopy(files, path))
		}
	}()
	progress.tell("copying the database", 0, 0)
	if err := copyFile(files, backup, work); err != nil {
		return out, v, err
	}
	if out, err = finishCopy(ctx, from, work, progress); err == nil {
		err = nameCopy(files, work, path)
	}
	if err != nil {
		return out, v, fmt.Errorf("restoring: %w", err)
	}
	out.Path = path
	v, err = verifyAt(ctx, files, path, progress)
	return out, v, err
}

func verifyAt(ctx context.Context, files fileSystem, path string, progress Progress) (v Verified, err error) {
	s, err := open(ctx, path, existing, files)
	if err != nil {
		return v, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return s.Verify(ctx, progress)
}

// checkBackup finds what is no backup, or one that is written to.
func (s *Store) checkBackup(ctx context.Context) error {
	info, err := s.files.Stat(s.path)
	switch {
	case err != nil:
		return ofKind(ErrNotAStore, "the backup %s cannot be read (%v)", s.path, errors.Unwrap(err))
	case info.Mode().IsRegular() && info.Size() == 0:
		return ofKind(ErrNoStore, "%s is an empty file and no backup: name another", s.path)
	}
	if log, err := s.files.Stat(s.path + "-wal"); err == nil && log.Size() > 0 {
		return ofKind(ErrNotAStore, "%s is a store in use, not a backup: 'boardproof backup' makes one of it", s.path)
	}
	if _, err := s.files.Stat(s.takesDir()); err != nil {
		return ofKind(ErrNotAStore, "the backup %s has no folder %s beside it: put it there", s.path, filepath.Base(s.takesDir()))
	}
	if err := s.look(existing); err != nil {
		return err
	}
	err = s.checkOurs(ctx, existing, looking)
	if isUnwritable(storeFault(s.path, err)) {
		// It lies where nothing can be written.
		err = s.checkOurs(ctx, existing, s.lookingOnly())
	}
	return storeFault(s.path, err)
}

func copyFile(files fileSystem, from, to string) (err error) {
	in, err := files.Open(from)
	if err != nil {
		return fmt.Errorf("reading %s: %w", from, err)
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	if err := files.MkdirAll(filepath.Dir(to)); err != nil {
		return fileFault(err, "the store's folder cannot be made (%v): name another")
	}
	out, err := files.Create(to)
	if err != nil {
		return fileFault(err, "the store cannot be made (%v): name another file")
	}
	_, err = io.Copy(out, in)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		return fmt.Errorf("copying to %s: %w", to, fileFault(err, "it cannot be written (%v): name another"))
	}
	return nil
}
