package db

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"
)

// asNobody runs f on a thread that has lost the rights of root over files, so
// that the test means the same to root, as in a container, and to others.
// The thread ends with f.
func asNobody(t *testing.T, f func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread()
		if os.Getuid() == 0 {
			if _, _, errno := syscall.RawSyscall(syscall.SYS_SETFSUID, 65534, 0, 0); errno != 0 {
				t.Error(errno)
				return
			}
		}
		f()
	}()
	<-done
}

func TestOpenNotWritable(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "store.db")
	// Closed again: SQLite lends an open file on within one process.
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	chmod := func(mode os.FileMode) {
		for name, m := range map[string]os.FileMode{filepath.Dir(dir): 0o755, dir: mode | 0o555, path: mode | 0o444} {
			if err := os.Chmod(name, m); err != nil {
				t.Fatal(err)
			}
		}
	}
	chmod(0)
	defer chmod(0o200)
	asNobody(t, func() {
		for _, name := range []string{"store.db", "new.db"} {
			opened, err := Open(t.Context(), filepath.Join(dir, name))
			if !errors.Is(err, ErrNotWritable) || !strings.Contains(err.Error(), "make it and its folder writable") {
				t.Errorf("%s: %v, want ErrNotWritable", name, err)
			}
			if err == nil {
				opened.Close()
			}
		}
	})
	if _, err := os.Stat(filepath.Join(dir, "new.db")); err == nil {
		t.Error("a file was left behind")
	}
}

// What only reads does so where nothing can be written, also with a log that
// was never folded in and with tables of an older version, and writes nothing.
func TestOpenReadingWhereNothingCanBeWritten(t *testing.T) {
	for name, version := range map[string]int64{"closed": 0, "killed": 0, "older": 5} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "ro")
			path := filepath.Join(dir, "store.db")
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			source := storeOfVersion(t, 1)
			if version == 0 {
				s := lived(t)
				source = s.path
				if name == "closed" {
					if err := s.db.Close(); err != nil {
						t.Fatal(err)
					}
				}
			}
			copyRaw(t, source, path)
			setModes(t, dir, 0o555, 0o444)
			defer setModes(t, dir, 0o755, 0o644)
			before := snapshot(t, dir)
			open := OpenReading
			as := asNobody
			if version != 0 {
				// The copy is written from several threads, of which only one is nobody's.
				as = func(_ *testing.T, f func()) { f() }
				open = func(ctx context.Context, path string) (*Store, error) {
					s := &Store{Now: time.Now, path: path, files: osFiles{}}
					return s, s.openToRead(ctx)
				}
			}
			as(t, func() {
				s, err := open(t.Context(), path)
				if err != nil {
					t.Error(err)
					return
				}
				defer s.Close()
				v, err := s.Verify(t.Context(), nil)
				if err != nil || v.Runs == 0 || len(v.Damage) > 0 {
					t.Errorf("%+v, %v", v, err)
				}
				if _, err := s.AddBoard(t.Context(), board("No")); !errors.Is(err, ErrNotWritable) {
					t.Errorf("a board was added: %v", err)
				}
			})
			if snapshot(t, dir) != before {
				t.Error("something was written")
			}
		})
	}
}

// copyRaw copies the files of a store as they are, the log with them.
func copyRaw(t *testing.T, from, to string) {
	t.Helper()
	for _, end := range []string{"", "-wal", ".takes"} {
		info, err := os.Stat(from + end)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil && info.IsDir() {
			err = os.CopyFS(to+end, os.DirFS(from+end))
		} else if err == nil {
			err = copyFile(osFiles{}, from+end, to+end)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func setModes(t *testing.T, dir string, folder, file os.FileMode) {
	t.Helper()
	err := filepath.WalkDir(filepath.Dir(dir), func(path string, d os.DirEntry, err error) error {
		if err != nil || path == filepath.Dir(dir) {
			return errors.Join(err, os.Chmod(filepath.Dir(dir), 0o755), os.Chmod(filepath.Dir(filepath.Dir(dir)), 0o755))
		}
		if d.IsDir() {
			return os.Chmod(path, folder)
		}
		return os.Chmod(path, file)
	})
	if err != nil {
		t.Fatal(err)
	}
}
