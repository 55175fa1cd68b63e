package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// quickPlan takes a tone and a silence, wholePlan every kind of signal.
const (
	quickPlan = `format = "boardproof-plan/1"
name = "short"
[[step]]
name = "tone"
patch = "board"
state = "all bypassed"
prompt = "connect it"
signals = ["tone"]
level_dbu = -10.0
duration_s = 1.0
limit = [{ quantity = "thd", max = 1.0 }]
[[step]]
name = "quiet"
patch = "board"
state = "all bypassed"
prompt = "connect it"
signals = ["silence"]
level_dbu = -10.0
duration_s = 1.0
limit = [{ quantity = "hum", max = -60.0 }]
`
	wholePlan = quickPlan + `[[step]]
name = "path"
patch = "board"
state = "all bypassed"
prompt = "connect it"
signals = ["sweep", "impulses"]
level_dbu = -10.0
limit = [{ quantity = "gain", min = -1.0, max = 1.0 }]
`
)

// registered is a store with a calibrated bench and two boards: calibrating takes
// seconds and is done once.
var registered = sync.OnceValues(func() (raw []byte, err error) {
	dir, err := os.MkdirTemp("", "boardproof-test-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	quick, whole, store := filepath.Join(dir, "q.toml"), filepath.Join(dir, "w.toml"), filepath.Join(dir, "s.db")
	err = errors.Join(os.WriteFile(quick, []byte(quickPlan), 0o644), os.WriteFile(whole, []byte(wholePlan), 0o644))
	if err != nil {
		return nil, err
	}
	for _, args := range [][]string{
		{"bench", "set", "sim", "--simulated"},
		{"calibrate", "--simulate", "good", "--linearity=false", "--yes"},
		{"board", "add", "Tin Heron"},
		{"plan", "edit", "tin", "--from", quick},
		{"board", "add", "Slow Ferry"},
		{"plan", "edit", "slow", "--from", whole},
	} {
		var said bytes.Buffer
		a := newApp(strings.NewReader(""), io.Discard, &said)
		a.now = func() time.Time { return time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC) }
		if code := a.run(context.Background(), append(args, "--store", store)); code != 0 {
			return nil, fmt.Errorf("%v ended with %d: %s", args, code, said.String())
		}
	}
	return os.ReadFile(store)
})

// accepted is a session with a board that was accepted, and its run.
func accepted(t *testing.T, board string, args ...string) (*session, db.Run) {
	t.Helper()
	s := newSession(t)
	raw, err := registered()
	if err == nil {
		err = os.WriteFile(s.store, raw, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	code := s.run("", append([]string{"accept", board, "--yes"}, args...)...)
	if code == exitWrongUse {
		t.Fatal(s.err)
	}
	return s, s.last(t, board)
}

func (s *session) open(t *testing.T) *db.Store {
	t.Helper()
	st, err := db.Open(t.Context(), s.store)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	st.Now = func() time.Time { return s.now }
	return st
}

// last is the newest run, whole.
func (s *session) last(t *testing.T, board string) db.Run {
	t.Helper()
	st := s.open(t)
	b, err := st.FindBoard(t.Context(), board)
	if err != nil {
		t.Fatal(err)
	}
	runs, err := st.Runs(t.Context(), b.ID)
	if err != nil || len(runs) == 0 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	run, err := st.FindRun(t.Context(), runs[len(runs)-1].ID)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

// Methods that did not change give the same readings from the takes, to the
// last digit, also where a take was left out and made again and where a step
// could not be measured.
func TestRecomputeGivesTheSameReadings(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts several boards")
	}
	for name, c := range map[string]struct {
		board string
		args  []string
	}{
		"good":        {"slow", []string{"--simulate", "good"}},
		"not linear":  {"slow", []string{"--simulate", "compressor"}},
		"three takes": {"tin", []string{"--simulate", "good", "--repeats", "3", "--no-check"}},
	} {
		t.Run(name, func(t *testing.T) {
			s, was := accepted(t, c.board, c.args...)
			s.must(0, "recompute", c.board, "--always", "--json")
			is := s.last(t, c.board)
			if is.Recomputes != was.ID || is.Corrects != "" || !is.Started.Equal(was.Started) || is.ID == was.ID || is.Verdict != was.Verdict {
				t.Errorf("kept as %+v", is)
			}
			for _, diff := range []string{cmp.Diff(was.Readings, is.Readings), cmp.Diff(was.Curves, is.Curves),
				cmp.Diff(was.Refused, is.Refused), cmp.Diff(was.Takes, is.Takes)} {
				if diff != "" {
					t.Errorf("computed again (-was +is):\n%.3000s", diff)
				}
			}
			if len(was.Readings) == 0 {
				t.Error("nothing was read at all")
			}
		})
	}
}

// What comes out otherwise is shown and kept. The run of old is one in which a
// reading was written wrongly, as by a method that was wrong.
func TestRecomputeShowsAndKeepsWhatIsOtherwise(t *testing.T) {
	s, was := accepted(t, "tin", "--simulate", "good")
	st := s.open(t)
	old := was
	old.Readings = append([]verdict.Judged(nil), was.Readings...)
	at := -1
	for i, j := range old.Readings {
		if j.Quantity == "gain" && j.Output == "B" {
			at = i
		}
	}
	old.Readings[at].Value += 0.25
	old.MethodVersion = "0"
	old, err := st.SaveRun(t.Context(), old)
	if err != nil {
		t.Fatal(err)
	}
	s.must(0, "recompute", old.ID)
	for _, want := range []string{"methods 0 then, " + analysis.MethodVersion + " now", "SIMULATED", "output B: ", "(-0.25 dB)", "kept as run "} {
		if !strings.Contains(s.out, want) {
			t.Errorf("%q is not in\n%s", want, s.out)
		}
	}
	is := s.last(t, "tin")
	if is.Recomputes != old.ID || is.Readings[at].Value != was.Readings[at].Value || is.MethodVersion != analysis.MethodVersion {
		t.Errorf("kept %+v", is)
	}
	s.must(0, "runs", "tin")
	if !strings.Contains(s.out, "computed again from "+old.ID) {
		t.Errorf("runs says\n%s", s.out)
	}
	// A board is not compared with what was only computed again.
	s.must(0, "compare", "tin", "--json")
	if strings.Contains(s.out, is.ID) {
		t.Errorf("compare took run %s", is.ID)
	}
}

func TestRecomputeRefuses(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s, was := accepted(t, "tin", "--simulate", "good")
	s.must(0, "recompute", was.ID)
	if !strings.Contains(s.out, "nothing comes out otherwise, nothing was kept") || s.last(t, "tin").ID != was.ID {
		t.Errorf("said %s", s.out)
	}
	s.must(exitWrongUse, "recompute", "nobody")
	file := filepath.Join(s.store+".takes", was.Takes[0].SHA256+".wav")
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	s.must(exitUnmeasured, "recompute", was.ID)
	if !strings.Contains(s.err, "computing run "+was.ID+" again: take ") || !strings.Contains(s.err, "is no longer beside the store") {
		t.Errorf("said %s", s.err)
	}
	if is := s.last(t, "tin"); is.ID != was.ID {
		t.Errorf("kept run %s", is.ID)
	}
}

func TestTidyAsksAndRunsSaySo(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s, _ := accepted(t, "tin", "--simulate", "good")
	s.now = s.now.Add(time.Hour)
	s.must(0, "accept", "tin", "--yes", "--simulate", "good")
	run := s.last(t, "tin")
	s.now = s.now.AddDate(3, 0, 0)
	s.must(0, "tidy")
	if !strings.Contains(s.out, "no run names: 0, 0 bytes") || strings.Contains(s.out, "older") {
		t.Errorf("said %s", s.out)
	}
	s.must(0, "tidy", "--older-than", "4")
	if !strings.Contains(s.out, "older than 4 years: 0, of 0 runs") {
		t.Errorf("said %s", s.out)
	}
	takes := func() int {
		files, err := os.ReadDir(s.store + ".takes")
		if err != nil {
			t.Fatal(err)
		}
		return len(files)
	}
	before := takes()
	for answer, want := range map[string]int{"no\n": 0, "\n": 0} {
		if code := s.run(answer, "tidy", "--older-than", "2"); code != want || takes() != before || !strings.Contains(s.out, "nothing was thrown away") {
			t.Errorf("answered %q: %d, %d files, %s%s", answer, code, takes(), s.out, s.err)
		}
	}
	if code := s.run("", "tidy", "--older-than", "2"); code != exitWrongUse || takes() != before {
		t.Errorf("without an answer: %d, %s", code, s.err)
	}
	if code := s.run("yes\n", "tidy", "--older-than", "2"); code != 0 || takes() != before/2 || !strings.Contains(s.out, "3, of 1 run, 3.9 MB") {
		t.Errorf("answered yes: %d, %d files of %d, %s", code, takes(), before, s.out)
	}
	s.must(0, "show", run.ID)
	if !strings.Contains(s.out, "tidied away: 3 of its 3 recordings; it cannot be computed again") {
		t.Errorf("show says\n%.600s", s.out)
	}
	s.must(exitUnmeasured, "recompute", run.ID)
	if !strings.Contains(s.err, "was tidied away") {
		t.Errorf("said %s", s.err)
	}
	s.must(0, "verify")
	if !strings.Contains(s.out, "tidied away on purpose: 3 takes") {
		t.Errorf("verify says\n%s", s.out)
	}
	s.must(0, "export", "tin", "--out", filepath.Join(t.TempDir(), "x.bpa"))
	if !strings.Contains(s.out, "without 3 takes that runs name") {
		t.Errorf("export says\n%s", s.out)
	}
	s.must(0, "tidy", "--older-than", "2", "--yes", "--json")
	if !strings.Contains(s.out, `"tidied":false`) {
		t.Errorf("again: %s", s.out)
	}
	s.must(exitWrongUse, "tidy", "--older-than=-1")
}

// CSV is read back by Python's reader and by SQLite's, both of which know
// nothing of ours.
func TestCSVIsReadByOthers(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s, was := accepted(t, "tin", "--simulate", "good")
	st := s.open(t)
	run := was
	run.Readings = append([]verdict.Judged(nil), was.Readings...)
	run.Readings[0].Note = "a \"bang\", then\r\nsilence; größer"
	run, err := st.SaveRun(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	s.must(0, "export", run.ID, "--csv", dir)
	readings, curves := filepath.Join(dir, run.ID+"-readings.csv"), filepath.Join(dir, run.ID+"-curves.csv")
	if s.out != readings+"\n"+curves+"\n" {
		t.Errorf("said %q", s.out)
	}
	if raw, err := os.ReadFile(readings); err != nil || strings.Count(string(raw), "\r\n") < len(run.Readings) || !strings.HasSuffix(string(raw), "\r\n") {
		t.Errorf("lines do not end in CR LF: %v", err)
	}
	points := 0
	for _, c := range run.Curves {
		points += len(c.FrequencyHz)
	}
	for path, rows := range map[string][][]string{readings: report.ReadingRows(run), curves: report.CurveRows(run)} {
		if diff := cmp.Diff(rows, byPython(t, path)); diff != "" {
			t.Errorf("Python reads %s otherwise:\n%.2000s", path, diff)
		}
		if diff := cmp.Diff(rows[1:], bySQLite(t, path)); diff != "" {
			t.Errorf("SQLite reads %s otherwise:\n%.2000s", path, diff)
		}
	}
	if n, m := len(report.ReadingRows(run)), len(report.CurveRows(run)); n != len(run.Readings)+1 || m != points+1 || points == 0 {
		t.Errorf("%d rows of %d readings, %d of %d points", n, len(run.Readings), m, points)
	}
	s.must(exitWrongUse, "export", run.ID, "--csv", dir)
	s.must(0, "export", run.ID, "--csv", filepath.Join(dir, "mine.csv"), "--json")
	s.must(exitWrongUse, "export", run.ID, "--csv", filepath.Join(readings, "x"))
	s.must(0, "export", run.ID, "--out", filepath.Join(dir, "mine.json"))
	raw, err := os.ReadFile(filepath.Join(dir, "mine.json"))
	var doc resultDocument
	if err == nil {
		err = json.Unmarshal(raw, &doc)
	}
	if err != nil || len(doc.Readings) != len(run.Readings) || !strings.Contains(string(raw), run.Digest) {
		t.Errorf("%d readings in the JSON, %v", len(doc.Readings), err)
	}
}

// outside runs a program that must be there in CI.
func outside(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		if _, missing := exec.LookPath(name); missing != nil && os.Getenv("CI") != "true" {
			t.Skipf("%s is not here", name)
		}
		t.Fatalf("%s: %v", name, err)
	}
	return out
}

func byPython(t *testing.T, path string) (rows [][]string) {
	t.Helper()
	program := `import csv, json, sys
print(json.dumps(list(csv.reader(open(sys.argv[1], newline="", encoding="utf-8"), strict=True))))`
	if err := json.Unmarshal(outside(t, "/usr/bin/python3", "-c", program, path), &rows); err != nil {
		t.Fatal(err)
	}
	return rows
}

// bySQLite imports a file and writes it as JSON.
func bySQLite(t *testing.T, path string) (rows [][]string) {
	t.Helper()
	out := outside(t, "sqlite3", "-cmd", ".mode csv", "-cmd", ".import "+path+" t", "-cmd", ".mode json", ":memory:",
		"select * from t")
	names := strings.Fields(string(outside(t, "sqlite3", "-cmd", ".mode csv", "-cmd", ".import "+path+" t", "-cmd", ".mode list",
		":memory:", "select name from pragma_table_info('t')")))
	var all []map[string]string
	if err := json.Unmarshal(out, &all); err != nil {
		t.Fatal(err)
	}
	for _, m := range all {
		var row []string
		for _, n := range names {
			row = append(row, m[n])
		}
		rows = append(rows, row)
	}
	return rows
}
