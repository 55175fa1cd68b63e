package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

// Unfinished is a file that gets its own name when it is whole. What a program that
// was killed left of one for the same path is replaced; a lock of the system, which
// died with that program, tells it from one that is being written.
type Unfinished struct {
	*os.File
	lock *flock.Flock
}

// passing is what a file for path is called before it is whole.
func passing(path string) string {
	return filepath.Join(filepath.Dir(path), ".boardproof-unfinished-"+filepath.Base(path))
}

// CreateUnfinished begins a file that goes to path.
func CreateUnfinished(path string) (*Unfinished, error) {
	name := passing(path)
	// A link there would lead elsewhere.
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		if err := os.Remove(name); err != nil {
			return nil, err
		}
	}
	lock := flock.New(name)
	switch held, err := lock.TryLock(); {
	case err != nil:
		return nil, err
	case !held:
		return nil, fmt.Errorf("another program is writing it just now: wait until that ends")
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_TRUNC, 0o644)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return &Unfinished{f, lock}, nil
}

// Finish syncs and closes the file, which can then be renamed.
func (u *Unfinished) Finish() error {
	return errors.Join(u.Chmod(0o644), u.Sync(), u.Close(), u.lock.Unlock())
}

// GiveUp removes what there is of the file.
func (u *Unfinished) GiveUp() error {
	u.Close() //nolint:errcheck // it is removed
	return errors.Join(os.Remove(u.Name()), u.lock.Unlock())
}
