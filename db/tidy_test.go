package db

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/verdict"
)

func TestTidy(t *testing.T) {
	s := lived(t) // its runs do not pass: one limit was not measured
	keep := func(n float64, change func(*Run)) Run {
		tk := take()
		tk.Samples[0][0] = n
		ref, err := s.SaveTake(tk, "tone", 1)
		if err != nil {
			t.Fatal(err)
		}
		r := s.run()
		r.Readings = r.Readings[:4]
		r.Takes = []TakeRef{ref}
		change(&r)
		if r, err = s.SaveRun(t.Context(), r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	delivered := keep(0.1, func(*Run) {})
	if delivered.Verdict != verdict.ConditionalPass {
		t.Fatalf("delivered with %s", delivered.Verdict)
	}
	serviced := keep(0.2, func(r *Run) { r.Started, r.Finished = noon.Add(time.Hour), noon.Add(time.Hour) })
	recent := keep(0.3, func(r *Run) { r.Started, r.Finished = noon.AddDate(2, 0, 0), noon.AddDate(2, 0, 0) })
	// One take that an old and a recent run name stays.
	shared := keep(0.4, func(*Run) {})
	keep(0.5, func(r *Run) {
		r.Takes = append(r.Takes, shared.Takes...)
		r.Started, r.Finished = noon.AddDate(2, 0, 0), noon.AddDate(2, 0, 0)
	})
	orphan := take()
	orphan.Samples[0][0] = 0.6
	lost, err := s.SaveTake(orphan, "tone", 1)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{".take-123": "half", "notes.txt": "mine", "sub": ""} {
		path := filepath.Join(s.takesDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s.Now = func() time.Time { return time.Now().Add(time.Hour) }
	got, err := s.Tidiable(t.Context(), time.Time{})
	if err != nil || len(got.Old)+len(got.Orphans)+len(got.Passing) != 0 {
		t.Errorf("files of the last day: %+v, %v", got, err)
	}
	s.Now = func() time.Time { return time.Now().Add(25 * time.Hour) }
	if got, err = s.Tidiable(t.Context(), noon.AddDate(1, 0, 0)); err != nil {
		t.Fatal(err)
	}
	var old []string
	for _, f := range got.Old {
		old = append(old, f.SHA256)
	}
	if want := []string{s.take.SHA256, serviced.Takes[0].SHA256}; !slices.Equal(old, want) {
		t.Errorf("old takes %q, want %q", old, want)
	}
	if len(got.Orphans) != 1 || got.Orphans[0].Name != lost.SHA256+".wav" || len(got.Passing) != 1 || got.Passing[0] != (TidyFile{".take-123", 4}) {
		t.Errorf("orphans %+v, passing %+v", got.Orphans, got.Passing)
	}
	if !slices.Contains(got.Old[0].Of, "hunt h20261125-0001") || len(got.Old[0].Of) != 5 {
		t.Errorf("the first take is of %q", got.Old[0].Of)
	}
	before := len(files(t, s.Store))
	size := func() (n int64) {
		for _, f := range files(t, s.Store) {
			info, err := os.Stat(filepath.Join(s.takesDir(), f))
			if err != nil {
				t.Fatal(err)
			}
			n += info.Size()
		}
		return n
	}
	bytes := size()
	rows := s.counts(t)
	if _, err := s.Tidy(t.Context(), got); err != nil {
		t.Fatal(err)
	}
	if freed := bytes - size(); freed != got.Bytes() || len(files(t, s.Store)) != before-4 {
		t.Errorf("freed %d bytes, said %d, left %q", freed, got.Bytes(), files(t, s.Store))
	}
	for table, n := range s.counts(t) {
		if n != rows[table] {
			t.Errorf("%d rows of %s, were %d", n, table, rows[table])
		}
	}
	for r, want := range map[*Run]int{&delivered: 0, &serviced: 1, &recent: 0, &shared: 0} {
		if n, err := s.TakesTidied(t.Context(), *r); err != nil || n != want {
			t.Errorf("run %s has %d takes tidied, %v, want %d", r.ID, n, err, want)
		}
	}
	if v := verify(t, s.Store); len(v.Damage) != 0 || v.Tidied != 2 {
		t.Errorf("after tidying: %+v", v)
	}
	if _, err := s.LoadTake(serviced.Takes[0]); err == nil || !strings.Contains(err.Error(), "was tidied away") {
		t.Errorf("a take that was tidied: %v", err)
	}
}

// A run that is kept while the question waits keeps its takes.
func TestTidyLeavesWhatARunHasComeToName(t *testing.T) {
	s := sit(t)
	s.Now = func() time.Time { return time.Now().Add(25 * time.Hour) }
	got, err := s.Tidiable(t.Context(), time.Time{})
	if err != nil || len(got.Orphans) != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	r := s.save(t)
	if _, err := s.Tidy(t.Context(), got); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LoadTake(r.Takes[0]); err != nil {
		t.Error(err)
	}
}

// What a board went out with is what was written down, not the first that
// passed.
func TestTidyKeepsWhatABoardWentOutWith(t *testing.T) {
	s := sit(t)
	var runs []Run
	for n := range 2 {
		tk := take()
		tk.Samples[0][0] = 0.1 * float64(n+1)
		ref, err := s.SaveTake(tk, "tone", 1)
		if err != nil {
			t.Fatal(err)
		}
		r := s.run()
		r.Readings, r.Takes = r.Readings[:4], []TakeRef{ref}
		if r, err = s.SaveRun(t.Context(), r); err != nil {
			t.Fatal(err)
		}
		runs = append(runs, r)
	}
	s.Now = func() time.Time { return noon.AddDate(0, 1, 0) }
	if _, err := s.AddEvent(t.Context(), Event{BoardID: s.board.ID, Kind: WentOut, RunID: runs[1].ID}); err != nil {
		t.Fatal(err)
	}
	got, err := s.Tidiable(t.Context(), noon.AddDate(1, 0, 0))
	if err != nil || len(got.Old) != 1 || got.Old[0].SHA256 != runs[0].Takes[0].SHA256 {
		t.Errorf("%+v, %v", got.Old, err)
	}
}
