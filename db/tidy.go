package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"
)

// Tidying is what may be thrown away. Runs, readings and curves never are;
// without its takes a run cannot be computed again.
type Tidying struct {
	// Old are takes of runs and hunts that ended before the time given, but
	// for those of the run that a board was delivered with.
	Old []TidyTake `json:"old"`
	// Orphans are files of takes that no run names: of an acceptance that was
	// stopped. Passing are files that a program left half written.
	Orphans []TidyFile `json:"orphans"`
	Passing []TidyFile `json:"passing"`
}

// TidyFile is one file beside the store.
type TidyFile struct {
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
}

// TidyTake is the file of a take that runs name.
type TidyTake struct {
	TidyFile
	SHA256 string `json:"sha256"`
	// Of are the runs and hunts that name it, as "run r20261125-0001".
	Of []string `json:"of"`
}

// Bytes is the size of all that may be thrown away.
func (t Tidying) Bytes() (n int64) {
	for _, f := range t.Old {
		n += f.Bytes
	}
	for _, f := range slices.Concat(t.Orphans, t.Passing) {
		n += f.Bytes
	}
	return n
}

// orphanAge is how old a file without a run must be: that of an acceptance
// that is under way has none yet either.
const orphanAge = 24 * time.Hour

var passingName = regexp.MustCompile(`^\.take-[0-9]+$`)

// Tidiable finds what may be thrown away: takes of runs and hunts that ended
// before before, none where that is zero, and what no run names.
func (s *Store) Tidiable(ctx context.Context, before time.Time) (Tidying, error) {
	t := Tidying{Old: []TidyTake{}, Orphans: []TidyFile{}, Passing: []TidyFile{}}
	uses, err := s.takeUses(ctx)
	if err != nil {
		return t, fmt.Errorf("looking for what to tidy: %w", storeFault(s.path, err))
	}
	if !before.IsZero() {
		if t.Old, err = s.oldTakes(ctx, uses, timeText(before)); err != nil {
			return t, fmt.Errorf("looking for what to tidy: %w", storeFault(s.path, err))
		}
	}
	entries, err := os.ReadDir(s.takesDir())
	if err != nil {
		return t, fmt.Errorf("looking for what to tidy: %w", err)
	}
	named := map[string]bool{}
	for _, u := range uses {
		named[u.sha+".wav"] = true
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || named[e.Name()] || s.Now().Sub(info.ModTime()) < orphanAge {
			continue
		}
		file := TidyFile{e.Name(), info.Size()}
		switch {
		case passingName.MatchString(e.Name()):
			t.Passing = append(t.Passing, file)
		case takeFileName.MatchString("takes/" + e.Name()):
			t.Orphans = append(t.Orphans, file)
		}
	}
	return t, nil
}

// oldTakes are those that only runs and hunts of before name, and no run that
// a board was ever delivered with.
func (s *Store) oldTakes(ctx context.Context, uses []takeUse, before string) ([]TidyTake, error) {
	keep := map[string]bool{}
	delivered := map[int64][]string{}
	of := map[string][]string{}
	for _, u := range uses {
		if _, known := delivered[u.boardID]; !known {
			ids, err := s.deliveredWith(ctx, u.boardID)
			if err != nil {
				return nil, err
			}
			delivered[u.boardID] = ids
		}
		if u.finished >= before || slices.Contains(delivered[u.boardID], u.id) {
			keep[u.sha] = true
		}
		if !slices.Contains(of[u.sha], u.of) {
			of[u.sha] = append(of[u.sha], u.of)
		}
	}
	old := []TidyTake{}
	for _, u := range firstUses(uses) {
		info, err := os.Stat(s.takeFile(u.sha))
		if keep[u.sha] || errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		old = append(old, TidyTake{TidyFile{info.Name(), info.Size()}, u.sha, of[u.sha]})
	}
	return old, nil
}

// Tidy throws away what Tidiable found. Before a take's file goes the store
// says that it was thrown away, so that nobody looks for it.
func (s *Store) Tidy(ctx context.Context, t Tidying) error {
	uses, err := s.takeUses(ctx)
	if err != nil {
		return fmt.Errorf("tidying: %w", storeFault(s.path, err))
	}
	// A run may have been kept while the question was waiting for its answer.
	t.Orphans = slices.DeleteFunc(slices.Clone(t.Orphans), func(f TidyFile) bool {
		return slices.ContainsFunc(uses, func(u takeUse) bool { return u.sha+".wav" == f.Name })
	})
	now := timeText(s.Now())
	err = s.write(ctx, "tidying", func(tx *sql.Tx) error {
		for _, f := range t.Old {
			if _, err := tx.ExecContext(ctx, sqlAddTidied, f.SHA256, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	var paths []string
	for _, f := range t.Old {
		paths = append(paths, filepath.Join(s.takesDir(), f.Name))
	}
	for _, f := range slices.Concat(t.Orphans, t.Passing) {
		paths = append(paths, filepath.Join(s.takesDir(), f.Name))
	}
	if err := removeAll(paths); err != nil {
		return fmt.Errorf("tidying: %w", err)
	}
	return nil
}

// TakesTidied counts the takes of r that were thrown away by Tidy and are not
// there again.
func (s *Store) TakesTidied(ctx context.Context, r Run) (int, error) {
	tidied, err := s.tidied(ctx)
	if err != nil {
		return 0, fmt.Errorf("looking for the takes of run %s: %w", r.ID, storeFault(s.path, err))
	}
	n := 0
	for _, t := range r.Takes {
		if _, err := os.Stat(s.takeFile(t.SHA256)); tidied[t.SHA256] && errors.Is(err, fs.ErrNotExist) {
			n++
		}
	}
	return n, nil
}

// wasTidied says whether a take was thrown away on purpose; where the store
// cannot say, it was not.
func (s *Store) wasTidied(sha string) bool {
	tidied, err := s.tidied(context.Background())
	return err == nil && tidied[sha]
}

// deliveredWith are the runs that a board was delivered with, each time; where
// nobody wrote down that it went out, FirstPassed.
func (s *Store) deliveredWith(ctx context.Context, boardID int64) ([]string, error) {
	ids, err := s.Deliveries(ctx, boardID)
	if err != nil || len(ids) > 0 {
		return ids, err
	}
	runs, err := s.Runs(ctx, boardID)
	if err != nil {
		return nil, err
	}
	if r, ok := FirstPassed(runs); ok {
		return []string{r.ID}, nil
	}
	return nil, nil
}
