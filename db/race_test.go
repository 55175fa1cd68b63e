package db

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// onlySaid fails where a store is not whole: the last line of a test.
func onlyWhole(t *testing.T, s *Store) {
	t.Helper()
	if v := verify(t, s); len(v.Damage) > 0 {
		t.Errorf("damage: %+v", v.Damage)
	}
}

// A run whose board was delivered while the question waited keeps its takes.
func TestTidyLooksAgainAfterItsQuestion(t *testing.T) {
	s := sit(t)
	r := s.save(t)
	later := s.run()
	tk := take()
	tk.Samples[0][0] = 0.75
	ref, err := s.SaveTake(tk, "tone", 1)
	if err != nil {
		t.Fatal(err)
	}
	later.Takes = []TakeRef{ref}
	if later, err = s.SaveRun(t.Context(), later); err != nil {
		t.Fatal(err)
	}
	s.Now = func() time.Time { return noon.AddDate(3, 0, 0) }
	found, err := s.Tidiable(t.Context(), noon.AddDate(1, 0, 0))
	if err != nil || len(found.Old) != 2 {
		t.Fatalf("%+v, %v", found, err)
	}
	if _, err := s.AddEvent(t.Context(), Event{BoardID: s.board.ID, Kind: WentOut, RunID: later.ID}); err != nil {
		t.Fatal(err)
	}
	gone, err := s.Tidy(t.Context(), found)
	if err != nil || len(gone.Old) != 1 || gone.Old[0].SHA256 != r.Takes[0].SHA256 {
		t.Errorf("threw away %+v, %v", gone.Old, err)
	}
	if _, err := s.LoadTake(ref); err != nil {
		t.Error(err)
	}
	onlyWhole(t, s.Store)
}

// pausing calls at once the archive was read to its end for the n-th time.
type pausing struct {
	*bytes.Reader
	n  int
	at func()
}

func (p *pausing) Read(b []byte) (int, error) {
	n, err := p.Reader.Read(b)
	if p.Reader.Len() == 0 && n > 0 {
		if p.n--; p.n == 0 {
			p.at()
		}
	}
	return n, err
}

// An import that was killed left its files, over a day ago. It is made again,
// and somebody tidies between its files and its rows.
func TestImportBesideTidy(t *testing.T) {
	from := lived(t)
	archive := export(t, from.Store, from.board.ID)
	s := newStore(t)
	other := openAt(t, s.path)
	_, err := readArchive(bytes.NewReader(archive), func(sha string, samples io.Reader) error {
		_, err := s.importTake(sha, samples)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	old := time.Now().AddDate(0, 0, -2)
	for _, f := range files(t, s) {
		if err := os.Chtimes(filepath.Join(s.takesDir(), f), old, old); err != nil {
			t.Fatal(err)
		}
	}
	other.Now, s.Now = time.Now, time.Now
	found, err := other.Tidiable(t.Context(), time.Time{})
	if err != nil || len(found.Orphans) == 0 {
		t.Fatalf("%+v, %v", found, err)
	}
	tidied := 0
	// While it reads for the second time: before the rows.
	in := &pausing{bytes.NewReader(archive), 2, func() {
		gone, err := other.Tidy(t.Context(), found)
		if err != nil {
			t.Error(err)
		}
		tidied += len(gone.Orphans)
	}}
	if _, err := s.Import(t.Context(), in); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d tidied beside it", tidied)
	onlyWhole(t, s)

	// One that removes them for good, whatever their age: the files are put there
	// once more.
	again := newStore(t)
	removed := false
	in = &pausing{bytes.NewReader(archive), 2, func() {
		for _, f := range files(t, again) {
			removed = true
			if err := os.Remove(filepath.Join(again.takesDir(), f)); err != nil {
				t.Error(err)
			}
		}
	}}
	if _, err := again.Import(t.Context(), in); err != nil || !removed {
		t.Errorf("%v, removed %v", err, removed)
	}
	onlyWhole(t, again)
}

// An import that fails removes no file that another one has come to name.
func TestStoppedImportLeavesAnothersTakes(t *testing.T) {
	from := lived(t)
	archive := export(t, from.Store, from.board.ID)
	s := newStore(t)
	other := openAt(t, s.path)
	ctx, cancel := context.WithCancel(t.Context())
	in := &pausing{bytes.NewReader(archive), 2, func() {
		if _, err := other.Import(t.Context(), bytes.NewReader(archive)); err != nil {
			t.Error(err)
		}
		cancel()
	}}
	if _, err := s.Import(ctx, in); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	onlyWhole(t, s)
	if v := verify(t, s); v.Takes == 0 || v.Runs == 0 {
		t.Errorf("the other import is lost: %+v", v)
	}
}

// A database that is moved away, replaced or deleted while it is in use takes no
// run that nobody finds again.
func TestMovedStoreIsSaid(t *testing.T) {
	for name, do := range map[string]func(path string) error{
		"moved":   func(path string) error { return os.Rename(path, path+".away") },
		"deleted": os.Remove,
		"replaced": func(path string) error {
			return errors.Join(os.Rename(path, path+".away"), os.WriteFile(path, []byte("another"), 0o644))
		},
	} {
		s := sit(t)
		spoils(s.path)
		if err := do(s.path); err != nil {
			t.Fatal(err)
		}
		_, err := s.SaveRun(t.Context(), s.run())
		if !errors.Is(err, ErrNoStore) || !strings.Contains(err.Error(), "put it back") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A writer waits for another program for as long as that takes, says so once,
// and can be stopped.
func TestWriterWaitsAndSaysSo(t *testing.T) {
	s := newStore(t)
	other := openAt(t, s.path)
	hold := func() func() {
		tx, err := other.db.BeginTx(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		return func() {
			if err := tx.Rollback(); err != nil {
				t.Error(err)
			}
		}
	}
	said := make(chan bool, 10)
	s.Waiting = func() { said <- true }
	letGo := hold()
	done := make(chan error, 1)
	go func() {
		_, err := s.AddBoard(t.Context(), board("Patient"))
		done <- err
	}()
	<-said
	select {
	case err := <-done:
		t.Fatalf("it did not wait: %v", err)
	case <-time.After(time.Second): // SQLite's own patience is half of it
	}
	letGo()
	if err := <-done; err != nil || len(said) > 0 {
		t.Errorf("%v, said %d times more", err, len(said))
	}
	defer hold()()
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		_, err := s.AddBoard(ctx, board("Impatient"))
		done <- err
	}()
	<-said
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// An archive whose recordings were cut out, of files and manifest alike, is
// refused.
func TestArchiveWithoutItsTakesIsRefused(t *testing.T) {
	from := lived(t)
	l, err := from.life(t.Context(), from.board.ID)
	if err != nil {
		t.Fatal(err)
	}
	l.takes = nil
	var out bytes.Buffer
	if _, err := from.writeArchive(&out, l); err != nil {
		t.Fatal(err)
	}
	s := newStore(t)
	_, err = s.Import(t.Context(), bytes.NewReader(out.Bytes()))
	if !errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), "recordings were cut out of it (1)") {
		t.Errorf("imported: %v", err)
	}
	if n := count(t, s, "boards"); n != 0 {
		t.Errorf("%d boards came in", n)
	}
	onlyWhole(t, s)
}
