package db

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// failing are files whose n-th call fails; every call counts, also of the files
// that it opens.
type failing struct {
	fileSystem
	n     int
	with  error
	calls *int
	what  *string
}

func (f failing) fails(what string) error {
	if *f.calls++; *f.calls != f.n {
		return nil
	}
	*f.what = what
	return f.with
}

func (f failing) wrap(file file, err error) (file, error) {
	if err != nil {
		return nil, err
	}
	return failingFile{file, f, false}, nil
}

func (f failing) Open(name string) (file, error) {
	if err := f.fails("open"); err != nil {
		return nil, err
	}
	file, err := f.fileSystem.Open(name)
	if err != nil {
		return nil, err
	}
	return failingFile{file, f, true}, nil
}

func (f failing) Create(name string) (file, error) {
	if err := f.fails("create"); err != nil {
		return nil, err
	}
	return f.wrap(f.fileSystem.Create(name))
}

func (f failing) CreateTemp(dir, pattern string) (file, error) {
	if err := f.fails("create"); err != nil {
		return nil, err
	}
	return f.wrap(f.fileSystem.CreateTemp(dir, pattern))
}

func (f failing) Stat(name string) (fs.FileInfo, error) {
	if err := f.fails("stat"); err != nil {
		return nil, err
	}
	return f.fileSystem.Stat(name)
}

func (f failing) ReadDir(name string) ([]fs.DirEntry, error) {
	if err := f.fails("read folder"); err != nil {
		return nil, err
	}
	return f.fileSystem.ReadDir(name)
}

func (f failing) MkdirAll(name string) error {
	return errors.Join(f.fails("make folder"), f.fileSystem.MkdirAll(name))
}

func (f failing) Rename(from, to string) error {
	if err := f.fails("rename"); err != nil {
		return err
	}
	return f.fileSystem.Rename(from, to)
}

func (f failing) Remove(name string) error {
	if err := f.fails("remove"); err != nil {
		return err
	}
	return f.fileSystem.Remove(name)
}

func (f failing) Touch(name string, t time.Time) error {
	if err := f.fails("touch"); err != nil {
		return err
	}
	return f.fileSystem.Touch(name, t)
}

type failingFile struct {
	file
	of   failing
	read bool
}

func (f failingFile) Read(b []byte) (int, error) {
	if err := f.of.fails("read"); err != nil {
		return 0, err
	}
	return f.file.Read(b)
}

// Write writes a half of what it was to, when it fails.
func (f failingFile) Write(b []byte) (int, error) {
	if err := f.of.fails("write"); err != nil {
		n, _ := f.file.Write(b[:len(b)/2])
		return n, err
	}
	return f.file.Write(b)
}

func (f failingFile) Sync() error { return errors.Join(f.of.fails("sync"), f.file.Sync()) }
func (f failingFile) Close() error {
	what := "close"
	if f.read {
		what = "close what was read"
	}
	return errors.Join(f.of.fails(what), f.file.Close())
}

func (f failingFile) Chmod(m fs.FileMode) error {
	return errors.Join(f.of.fails("chmod"), f.file.Chmod(m))
}

// faulted is one thing that a store does.
type faulted struct {
	name string
	// heals are calls whose failing need not be said, as nothing comes of it.
	heals []string
	do    func(t *testing.T, s *Store, from sitting, dir string) error
}

// A take here that cannot be read is taken from the archive; a size that is only
// shown may be missing.
var faulty = []faulted{
	{"take", nil, func(t *testing.T, s *Store, from sitting, _ string) error {
		ref, err := s.SaveTake(take(), "tone", 1)
		if err != nil {
			return err
		}
		r := from.run()
		r.BoardID, r.ProfileID, r.PlanID, r.Takes = 1, "", 0, []TakeRef{ref}
		_, err = s.SaveRun(t.Context(), r)
		return err
	}},
	{"sitting", nil, func(t *testing.T, s *Store, _ sitting, _ string) error {
		sit, err := s.BeginSitting(t.Context(), Sitting{Kind: Acceptance, BoardID: 1, Bench: "b", Setup: json.RawMessage("{}")})
		if err != nil {
			return err
		}
		ref, err := s.SaveTake(take(), "tone", 1)
		if err != nil {
			return err
		}
		if err := s.KeepEntry(t.Context(), sit.ID, SittingEntry{What: "tone", Take: &ref}); err != nil {
			return err
		}
		if err := s.GiveUp(t.Context(), sit.ID); err != nil {
			return err
		}
		return s.Forget(t.Context(), sit.ID)
	}},
	{"import", []string{"open", "read", "close what was read", "remove"}, func(t *testing.T, s *Store, from sitting, _ string) error {
		_, err := s.Import(t.Context(), bytes.NewReader(export(t, from.Store, from.board.ID)))
		return err
	}},
	{"import again", []string{"open", "read", "close what was read"}, func(t *testing.T, s *Store, _ sitting, _ string) error {
		all, err := s.Boards(t.Context())
		if err != nil {
			return err
		}
		var out bytes.Buffer
		if _, err := s.Export(t.Context(), all[len(all)-1].ID, &out); err != nil {
			return err
		}
		_, err = s.Import(t.Context(), bytes.NewReader(out.Bytes()))
		return err
	}},
	{"backup", []string{"stat", "open"}, func(t *testing.T, s *Store, _ sitting, dir string) error {
		out, err := s.Backup(t.Context(), filepath.Join(dir, "backup.db"), nil)
		return notAll(out, err)
	}},
	{"restore", []string{"stat", "open", "close what was read"}, func(t *testing.T, s *Store, _ sitting, dir string) error {
		backup := filepath.Join(dir, "backup.db")
		whole := *s
		whole.files = osFiles{}
		if _, err := whole.Backup(t.Context(), backup, nil); err != nil {
			t.Fatal(err)
		}
		out, v, err := restore(t.Context(), s.files, backup, filepath.Join(dir, "restored.db"), nil)
		if err == nil && len(v.Damage) > 0 {
			return errors.New("damage was named")
		}
		return notAll(out, err)
	}},
	{"tidy", []string{"stat"}, func(t *testing.T, s *Store, _ sitting, _ string) error {
		s.Now = func() time.Time { return noon.AddDate(9, 0, 0) }
		found, err := s.Tidiable(t.Context(), noon.AddDate(4, 0, 0))
		if err == nil {
			_, err = s.Tidy(t.Context(), found)
		}
		return err
	}},
	{"verify", []string{"close what was read", "stat"}, func(t *testing.T, s *Store, _ sitting, _ string) error {
		v, err := s.Verify(t.Context(), nil)
		if err == nil && len(v.Damage) > 0 {
			return errors.New("damage was named")
		}
		return err
	}},
	{"open", []string{"stat", "read folder"}, func(t *testing.T, s *Store, _ sitting, _ string) error {
		again, err := open(t.Context(), s.path, existing, s.files)
		if err != nil {
			return err
		}
		return again.Close()
	}},
}

// notAll makes an error of a copy that is not whole and says so.
func notAll(out BackedUp, err error) error {
	if err == nil && len(out.Missing)+len(out.Damaged) > 0 {
		return errors.New("what is missing was named")
	}
	return err
}

// Whichever call of a file fails, in whatever a store does, it is said, and
// nothing that was kept is lost: the store is whole, and the same thing can be
// done again.
func TestEveryFileCallThatFailsIsSaidAndLosesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("each call of every command fails")
	}
	from := lived(t)
	template := full(t)
	if err := template.Close(); err != nil {
		t.Fatal(err)
	}
	before := len(runsOf(t, template.path))
	for _, f := range faulty {
		t.Run(f.name, func(t *testing.T) {
			for n := 1; ; n++ {
				dir := t.TempDir()
				path := filepath.Join(dir, "store.db")
				copyStore(t, template.path, path)
				with := error(syscall.EIO)
				if n%2 == 0 {
					with = syscall.ENOSPC
				}
				calls, what := 0, ""
				s := openAt(t, path)
				s.files = failing{osFiles{}, n, &fs.PathError{Op: "call", Path: path, Err: with}, &calls, &what}
				err := f.do(t, s, from, dir)
				if what == "" {
					if err != nil {
						t.Errorf("with no fault: %v", err)
					}
					t.Logf("%d calls", n-1)
					return
				}
				if err == nil && !slices.Contains(f.heals, what) {
					t.Errorf("call %d, %s, failed and nothing was said", n, what)
				}
				if err != nil && strings.Contains(err.Error(), "writable") {
					t.Errorf("call %d, %s: %v was answered with %v", n, what, with, err)
				}
				s.files = osFiles{}
				if v := verify(t, s); len(v.Damage) > 0 || v.Runs < before {
					t.Fatalf("call %d, %s, failed: %v: then %d runs, were %d, %+v", n, what, err, v.Runs, before, v.Damage)
				}
				if f.name == "restore" || f.name == "backup" {
					continue // a half of it may lie there where removing failed
				}
				if err := f.do(t, s, from, dir); err != nil {
					t.Errorf("call %d, %s, failed; the same once more: %v", n, what, err)
				}
				if v := verify(t, s); len(v.Damage) > 0 {
					t.Errorf("call %d, %s, failed; the same once more: %+v", n, what, v.Damage)
				}
			}
		})
	}
}

func runsOf(t *testing.T, path string) []string {
	t.Helper()
	s, err := OpenExisting(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ids, err := collect(context.Background(), s.db, scanText, sqlAllRuns)
	if err != nil {
		t.Fatal(err)
	}
	return ids
}

// copyStore copies a store that is closed.
func copyStore(t *testing.T, from, to string) {
	t.Helper()
	for _, end := range []string{"", ".takes"} {
		info, err := os.Stat(from + end)
		if err != nil {
			t.Fatal(err)
		}
		if info.IsDir() {
			err = os.CopyFS(to+end, os.DirFS(from+end))
		} else {
			err = copyFile(osFiles{}, from, to)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}
