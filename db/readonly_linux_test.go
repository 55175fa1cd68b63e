package db

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
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
