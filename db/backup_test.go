package db

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A backup that is taken while runs are being kept holds whole runs only,
// each with its takes, and what it holds is as in the store.
func TestBackupWhileInUse(t *testing.T) {
	s := lived(t)
	stop, stopped := make(chan struct{}), make(chan error, 1)
	go func() {
		writer, err := Open(t.Context(), s.path)
		for n := 0; err == nil; n++ {
			select {
			case <-stop:
				stopped <- writer.Close()
				return
			default:
			}
			tk := take()
			tk.Samples[0][0] = float64(n+1) / 1024 // another file each time
			r := s.run()
			r.Takes = make([]TakeRef, 1)
			if r.Takes[0], err = writer.SaveTake(tk, "tone", 1); err == nil {
				_, err = writer.SaveRun(t.Context(), r)
			}
		}
		stopped <- err
	}()
	dir := t.TempDir()
	for n, runs := 0, 4; n < 3; n++ {
		path := filepath.Join(dir, string(rune('a'+n)), "backup.db")
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		for count(t, s.Store, "runs") <= runs {
		}
		got, err := s.Backup(t.Context(), path, nil)
		if err != nil || got.Runs <= runs || len(got.Missing) != 0 || got.Takes != got.Runs-3 {
			t.Fatalf("backup %+v, %v", got, err)
		}
		runs = got.Runs
		back := filepath.Join(dir, string(rune('a'+n)), "restored.db")
		restored, v, err := Restore(t.Context(), path, back, nil)
		if err != nil || len(v.Damage) != 0 || v.Runs != runs || restored.Runs != runs || restored.Takes != got.Takes {
			t.Fatalf("restored %+v, %+v, %v", restored, v, err)
		}
		again := openAt(t, back)
		all, err := again.Runs(t.Context(), s.board.ID)
		if err != nil || len(all) != runs {
			t.Fatalf("%d runs, %v", len(all), err)
		}
		last := all[len(all)-1].ID
		want, err := s.FindRun(t.Context(), last)
		if err != nil {
			t.Fatal(err)
		}
		is, err := again.FindRun(t.Context(), last)
		if diff := cmp.Diff(want, is); err != nil || diff != "" {
			t.Errorf("run %s: %v\n%s", last, err, diff)
		}
		if _, err := again.LoadTake(is.Takes[0]); err != nil {
			t.Error(err)
		}
	}
	close(stop)
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

func TestBackupAndRestoreRefuseAndWriteNothing(t *testing.T) {
	s := lived(t)
	dir := t.TempDir()
	good := filepath.Join(dir, "good.db")
	if _, err := s.Backup(t.Context(), good, nil); err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, []byte(strings.Repeat("only text ", 500)), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(text+".takes", 0o755); err != nil {
		t.Fatal(err)
	}
	alone := filepath.Join(dir, "alone.db")
	raw, err := os.ReadFile(good)
	if err == nil {
		err = os.WriteFile(alone, raw, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	before := snapshot(t, dir)
	for _, path := range []string{good, s.path, dir} {
		if _, err := s.Backup(t.Context(), path, nil); !errors.Is(err, ErrDuplicate) {
			t.Errorf("backup over %s: %v", path, err)
		}
	}
	if _, err := s.Backup(t.Context(), filepath.Join(text, "b.db"), nil); !errors.Is(err, ErrNotWritable) {
		t.Errorf("backup under a file: %v", err)
	}
	for _, c := range []struct {
		from, to string
		kind     error
		want     string
	}{
		{good, s.path, ErrDuplicate, "is there already"},
		{good, good, ErrDuplicate, "is there already"},
		{text, filepath.Join(dir, "n.db"), ErrNotAStore, "is not a boardproof store"},
		{alone, filepath.Join(dir, "n.db"), ErrNotAStore, "has no folder alone.db.takes beside it"},
		{filepath.Join(dir, "none"), filepath.Join(dir, "n.db"), ErrNotAStore, "cannot be read"},
		{s.path, filepath.Join(dir, "n.db"), ErrNotAStore, "is a store in use"},
		{good, filepath.Join(text, "n.db"), ErrNotWritable, "cannot be made"},
	} {
		if _, _, err := Restore(t.Context(), c.from, c.to, nil); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("restore %s to %s: %v, want %q", c.from, c.to, err, c.want)
		}
	}
	if after := snapshot(t, dir); after != before {
		t.Errorf("something was written:\n%.2000s", after)
	}
}

// A backup with a bad take gives back all the rest, and says what is bad.
func TestRestoreNamesWhatIsDamaged(t *testing.T) {
	s := lived(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "b.db")
	if _, err := s.Backup(t.Context(), path, nil); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(path+".takes", s.take.SHA256+".wav")
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte("rotten"), 0o644); err != nil {
		t.Fatal(err)
	}
	got, v, err := Restore(t.Context(), path, filepath.Join(dir, "r.db"), nil)
	if err != nil || len(got.Damaged) != 1 || got.Takes != 0 || len(v.Damage) != 1 || v.Damage[0].Name != s.take.SHA256 || v.Runs != 4 {
		t.Errorf("%+v, %+v, %v", got, v, err)
	}
}

// What a backup or a restore that was killed left behind gives way to the next,
// and only that does.
func TestRemainsOfAKilledCopyGiveWay(t *testing.T) {
	s := sit(t)
	s.save(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "copy.db")
	again := filepath.Join(dir, "again.db")
	for _, p := range []string{path, again} {
		if err := os.MkdirAll(unfinished(p)+".takes", 0o755); err != nil {
			t.Fatal(err)
		}
		for _, left := range []string{unfinished(p), filepath.Join(unfinished(p)+".takes", ".take-123"), p + ".part"} {
			if err := os.WriteFile(left, []byte("half"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := s.Backup(t.Context(), path, nil); err != nil {
		t.Fatal(err)
	}
	_, v, err := Restore(t.Context(), path, again, nil)
	if err != nil || len(v.Damage) > 0 || v.Runs != 1 {
		t.Fatalf("%+v, %v", v, err)
	}
	names, err := filepath.Glob(filepath.Join(dir, ".boardproof-unfinished-*"))
	if err != nil || len(names) > 0 {
		t.Errorf("left behind: %v, %v", names, err)
	}
	for _, p := range []string{path, again} {
		if text, err := os.ReadFile(p + ".part"); string(text) != "half" || err != nil {
			t.Errorf("another's file now holds %q, %v", text, err)
		}
	}
}
