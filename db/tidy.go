package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Tidying is what may be thrown away. Runs, readings and curves never are;
// without its takes a run cannot be computed again.
type Tidying struct {
	// Old are takes of runs and hunts that ended before the time given, but
	// for those of the run that a board was delivered with.
	Old []TidyTake `json:"old"`
	// Orphans are files of takes that no run and no open sitting names. Passing are files that a program left half written.
	Orphans []TidyFile `json:"orphans"`
	Passing []TidyFile `json:"passing"`
	// Sittings are open; their takes stay.
	Sittings []Sitting `json:"sittings,omitempty"`

	before time.Time
}

// Files are all that may be thrown away.
func (t Tidying) Files() (all []TidyFile) {
	for _, f := range t.Old {
		all = append(all, f.TidyFile)
	}
	return slices.Concat(all, t.Orphans, t.Passing)
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
	for _, f := range t.Files() {
		n += f.Bytes
	}
	return n
}

// orphanAge is how old a file without a run must be: that of an acceptance
// that is under way has none yet either.
const orphanAge = 24 * time.Hour

var passingName = regexp.MustCompile(`^\.take-[0-9]+$`)

// Tidiable finds what may be thrown away: takes of runs and hunts that ended
// before before, none where that is zero, and what no run, no hunt and no
// open sitting names.
func (s *Store) Tidiable(ctx context.Context, before time.Time) (Tidying, error) {
	t, err := s.tidiable(ctx, s.db, before)
	if err != nil {
		return t, fmt.Errorf("looking for what to tidy: %w", storeFault(s.path, err))
	}
	return t, nil
}

func (s *Store) tidiable(ctx context.Context, q querier, before time.Time) (t Tidying, err error) {
	t = Tidying{Old: []TidyTake{}, Orphans: []TidyFile{}, Passing: []TidyFile{}, before: before}
	if !before.IsZero() {
		if t.Old, err = s.oldTakes(ctx, q, timeText(before)); err != nil {
			return t, err
		}
	}
	if t.Sittings, err = openSittings(ctx, q); err != nil {
		return t, err
	}
	named, err := namedTakes(ctx, q)
	if err != nil {
		return t, err
	}
	entries, err := s.files.ReadDir(s.takesDir())
	if err != nil {
		return t, fileFault(err, "the folder for takes cannot be read (%v): make it readable")
	}
	for _, e := range entries {
		info, err := e.Info()
		sha, isTake := strings.CutSuffix(e.Name(), ".wav")
		if err != nil || !info.Mode().IsRegular() || named[sha] || s.Now().Sub(info.ModTime()) < orphanAge {
			continue
		}
		file := TidyFile{e.Name(), info.Size()}
		switch {
		case passingName.MatchString(e.Name()):
			t.Passing = append(t.Passing, file)
		case isTake && shaText.MatchString(sha):
			t.Orphans = append(t.Orphans, file)
		}
	}
	return t, nil
}

// namedTakes are all takes that a row names whose files must stay.
func namedTakes(ctx context.Context, q querier) (map[string]bool, error) {
	named := map[string]bool{}
	shas, err := collect(ctx, q, scanText, sqlNamedTakes)
	for _, sha := range shas {
		named[sha] = true
	}
	return named, err
}

// oldTakes are those that only runs and hunts of before name, and no run that
// a board was ever delivered with.
func (s *Store) oldTakes(ctx context.Context, q querier, before string) ([]TidyTake, error) {
	uses, err := takeUses(ctx, q)
	if err != nil {
		return nil, err
	}
	keep := map[string]bool{}
	delivered := map[int64][]string{}
	of := map[string][]string{}
	for _, u := range uses {
		if _, known := delivered[u.boardID]; !known {
			ids, err := deliveredWith(ctx, q, u.boardID)
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
		info, err := s.files.Stat(s.takeFile(u.sha))
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

// Tidy throws away of what Tidiable found what may still be thrown away: it
// looks again while it holds the store, as a run may have been kept, or a board
// delivered, while the question was waiting for its answer. What it threw away
// is in the result. Before a take's file goes the store says that it was thrown
// away, so that nobody looks for it.
func (s *Store) Tidy(ctx context.Context, found Tidying) (gone Tidying, err error) {
	old := Tidying{Old: found.Old, before: found.before}
	// What nothing names goes first: it needs no row, and makes room for those.
	found.Old = nil
	if gone, err = s.throwAway(ctx, found); err != nil {
		return gone, err
	}
	if len(old.Old) == 0 {
		return gone, nil
	}
	err = s.write(ctx, "tidying", func(tx *sql.Tx) error {
		if old, err = s.stillTidiable(ctx, tx, old); err != nil {
			return err
		}
		for _, f := range old.Old {
			if _, err := tx.ExecContext(ctx, sqlAddTidied, f.SHA256, timeText(s.Now())); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		old, err = s.throwAway(ctx, old)
		gone.Old = old.Old
	}
	return gone, err
}

// throwAway removes files, of what was found those that may still go, with the
// store held: no row can come to name one meanwhile.
func (s *Store) throwAway(ctx context.Context, found Tidying) (gone Tidying, err error) {
	err = s.write(ctx, "tidying", func(tx *sql.Tx) error {
		if gone, err = s.stillTidiable(ctx, tx, found); err != nil {
			return err
		}
		var paths []string
		for _, f := range gone.Files() {
			paths = append(paths, filepath.Join(s.takesDir(), f.Name))
		}
		return removeAll(s.files, paths)
	})
	return gone, err
}

// stillTidiable is what of found may be thrown away now.
func (s *Store) stillTidiable(ctx context.Context, q querier, found Tidying) (Tidying, error) {
	now, err := s.tidiable(ctx, q, found.before)
	if err != nil {
		return Tidying{}, err
	}
	asked := map[string]bool{}
	for _, f := range found.Files() {
		asked[f.Name] = true
	}
	other := func(f TidyFile) bool { return !asked[f.Name] }
	now.Old = slices.DeleteFunc(now.Old, func(t TidyTake) bool { return other(t.TidyFile) })
	now.Orphans = slices.DeleteFunc(now.Orphans, other)
	now.Passing = slices.DeleteFunc(now.Passing, other)
	return now, nil
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
		if _, err := s.files.Stat(s.takeFile(t.SHA256)); tidied[t.SHA256] && errors.Is(err, fs.ErrNotExist) {
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
func deliveredWith(ctx context.Context, q querier, boardID int64) ([]string, error) {
	ids, err := deliveriesOf(ctx, q, boardID)
	if err != nil || len(ids) > 0 {
		return ids, err
	}
	runs, err := collect(ctx, q, scanRun, sqlRunsOfBoard, boardID)
	if err != nil {
		return nil, err
	}
	if r, ok := FirstPassed(runs); ok {
		return []string{r.ID}, nil
	}
	return nil, nil
}
