package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// noon is the day that the tests live in.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func openAt(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	s.Now = func() time.Time { return noon }
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		endsWhole(t, path)
	})
	return s
}

// spoilt are the stores, by their paths, that a test damages.
var spoilt sync.Map

// spoils says that a test damages a store, which is then not verified at its end.
func spoils(path string) { spoilt.Store(path, true) }

// endsWhole is the last thing of each test with a store: whatever was done to it,
// verify finds nothing.
func endsWhole(t testing.TB, path string) {
	t.Helper()
	if _, is := spoilt.Load(path); is || t.Failed() {
		return
	}
	s, err := OpenReading(context.Background(), path)
	if err != nil {
		t.Errorf("at the test's end: %v", err)
		return
	}
	defer s.Close()
	if v, err := s.Verify(context.Background(), nil); err != nil || len(v.Damage) > 0 {
		t.Errorf("at the test's end: %.500s, %v", fmt.Sprint(v.Damage), err)
	}
}

func newStore(t testing.TB) *Store {
	t.Helper()
	return openAt(t, filepath.Join(t.TempDir(), "store.db"))
}

// alter runs SQL past the store, as another program would.
func alter(t *testing.T, s *Store, query string, args ...any) error {
	t.Helper()
	spoils(s.path)
	_, err := s.db.ExecContext(t.Context(), query, args...)
	return err
}

func count(t *testing.T, s *Store, table string) int {
	t.Helper()
	var n int
	if err := s.db.QueryRowContext(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestEveryConnectionIsSetUp(t *testing.T) {
	s := newStore(t)
	var conns []*sql.Conn
	for range 3 {
		c, err := s.db.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		conns = append(conns, c)
		t.Cleanup(func() {
			if err := c.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	// The three are held at once, so none is another used again.
	for i, c := range conns {
		for pragma, want := range map[string]string{
			"foreign_keys": "1", "journal_mode": "wal", "synchronous": "2", "busy_timeout": busyTimeoutMS,
		} {
			var got string
			if err := c.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil {
				t.Fatal(err)
			}
			if got != want {
				t.Errorf("connection %d: %s = %s, want %s", i+1, pragma, got, want)
			}
		}
		_, err := c.ExecContext(t.Context(), "INSERT INTO devices VALUES (99, 1, 'x', '', 0, 0, '')")
		if err == nil || !strings.Contains(err.Error(), "FOREIGN KEY") {
			t.Errorf("connection %d: a device of no board was taken: %v", i+1, err)
		}
	}
}

func TestWritersQueueInsteadOfFailing(t *testing.T) {
	s := newStore(t)
	other := openAt(t, s.path)
	tx, err := s.db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		_, err := other.AddBoard(t.Context(), board("Waiting"))
		done <- err
	}()
	select {
	case err := <-done:
		t.Fatalf("a second writer did not wait for the first: %v", err)
	case <-time.After(100 * time.Millisecond):
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Errorf("after the first writer was done: %v", err)
	}
}

func TestTablesAreStrict(t *testing.T) {
	s := newStore(t)
	rows, err := collect(t.Context(), s.db, scanText, "SELECT name FROM pragma_table_list WHERE schema = 'main' AND strict = 0 AND type = 'table'")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range rows {
		if name != "goose_db_version" && !strings.HasPrefix(name, "sqlite_") {
			t.Errorf("table %s is not strict", name)
		}
	}
	if n := count(t, s, "pragma_table_list WHERE strict = 1"); n < 10 {
		t.Errorf("%d strict tables, want 10 or more", n)
	}
}

func TestOpenKeepsWhatIsThere(t *testing.T) {
	for _, name := range []string{"store.db", "with space.db", "100% 50?#.db", "größe.db"} {
		path := filepath.Join(t.TempDir(), "new", "folder", name)
		s, err := Open(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.AddBoard(t.Context(), board("Keeper")); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(path); err != nil {
			t.Errorf("the store is not where it was asked for: %v", err)
		}
		if _, err := openAt(t, path).FindBoard(t.Context(), "keeper"); err != nil {
			t.Errorf("%s, opened again: %v", name, err)
		}
	}
}

func TestOpenNewStoreManyTimesAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	var wg sync.WaitGroup
	for range 6 {
		wg.Go(func() {
			s, err := Open(t.Context(), path)
			if err != nil {
				t.Error(err)
				return
			}
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
}

// What another program that makes the store at this moment, or one that was
// killed while it did, leaves between two steps of the migration.
func TestOpenStoreInTheMaking(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	begun, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = begun.Exec(`CREATE TABLE goose_db_version (id INTEGER PRIMARY KEY AUTOINCREMENT, version_id INTEGER NOT NULL,
		is_applied INTEGER NOT NULL, tstamp TIMESTAMP DEFAULT (datetime('now')));
		INSERT INTO goose_db_version (version_id, is_applied) VALUES (0, 1)`)
	if err = errors.Join(err, begun.Close()); err != nil {
		t.Fatal(err)
	}
	addBoard(t, openAt(t, path), "Early")
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	other := filepath.Join(dir, "other.db")
	foreign, err := sql.Open("sqlite3", other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := foreign.Exec("CREATE TABLE mail (id INTEGER)"); err != nil {
		t.Fatal(err)
	}
	if err := foreign.Close(); err != nil {
		t.Fatal(err)
	}
	newer := filepath.Join(dir, "newer.db")
	s := openAt(t, newer)
	if err := alter(t, s, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)"); err != nil {
		t.Fatal(err)
	}
	text := strings.Repeat("not a database at all, only text\n", 100)
	for name, c := range map[string]struct {
		path string
		kind error
		want string
	}{
		"text":         {file("notes.txt", text), ErrNotAStore, "is not a boardproof store"},
		"other's":      {other, ErrNotAStore, "is the database of another program"},
		"newer":        {newer, ErrNewer, ": update boardproof"},
		"folder":       {dir, ErrNotAStore, "is not a file"},
		"under a file": {filepath.Join(file("plain", "x"), "store.db"), ErrNotWritable, "name another"},
		"no path":      {"", ErrInvalid, "has no path"},
	} {
		before := snapshot(t, dir)
		s, err := Open(t.Context(), c.path)
		if err == nil {
			t.Errorf("%s: opened", name)
			s.Close()
			continue
		}
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %q, want %v with %q", name, err, c.kind, c.want)
		}
		if name != "newer" { // held open above, its own log comes and goes
			if after := snapshot(t, dir); after != before {
				t.Errorf("%s: something was written:\n%s\nbefore:\n%s", name, after, before)
			}
		}
	}
}

// snapshot lists every file under dir with its content.
func snapshot(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || strings.HasSuffix(path, "-shm") || strings.HasSuffix(path, "-wal") {
			return err
		}
		b.WriteString(path + "\n")
		if d.IsDir() {
			return nil
		}
		raw, err := os.ReadFile(path)
		b.Write(raw)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestOpenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Open(ctx, filepath.Join(t.TempDir(), "store.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("opened with a context that had ended: %v", err)
	}
}
