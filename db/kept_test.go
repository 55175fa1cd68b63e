package db

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestWhatIsKeptIsNeverChanged(t *testing.T) {
	s := sit(t)
	r := s.save(t)
	whole := func() string {
		var b strings.Builder
		for _, table := range append([]string{"profiles", "plans"}, runTables...) {
			rows, err := collect(t.Context(), s.db, scanText, "SELECT rowid FROM "+table)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintln(&b, table, rows)
		}
		return b.String()
	}
	before := whole()
	for _, table := range append([]string{"profiles", "plans"}, runTables...) {
		key := "run_id"
		if table == "profiles" || table == "plans" || table == "runs" {
			key = "id"
		}
		for _, attempt := range []string{
			"UPDATE " + table + " SET " + key + " = " + key,
			"DELETE FROM " + table,
			"INSERT OR REPLACE INTO " + table + " SELECT * FROM " + table,
		} {
			err := alter(t, s.Store, attempt)
			if err == nil || !strings.Contains(err.Error(), "is never changed") {
				t.Errorf("%s: %v, want it refused", attempt, err)
			}
		}
	}
	for _, late := range []string{
		"INSERT INTO refusals VALUES ('" + r.ID + "', 99, 'gain', 'A', '', '', 'late')",
		"INSERT INTO takes VALUES ('" + r.ID + "', 99, '" + r.Takes[0].SHA256 + "', '', 1, '{}')",
		"INSERT INTO curves VALUES ('" + r.ID + "', 99, 'response', 'A', '{}')",
		"INSERT INTO readings SELECT run_id, 99, step, state, quantity, output, reference, frequency_hz, harmonic, weighting, value, unit, uncertainty, k, upper_bound, lower_bound, floor_limited, limit_min, limit_max, verdict, note, method_version, budget, chance_wrong FROM readings LIMIT 1",
	} {
		if err := alter(t, s.Store, late); err == nil || !strings.Contains(err.Error(), "a finished run is never changed") {
			t.Errorf("%s: %v, want it refused", late, err)
		}
	}
	if err := alter(t, s.Store, "INSERT INTO refusals VALUES ('r0', 1, 'gain', 'A', '', '', 'of no run')"); err == nil {
		t.Error("a refusal of no run was taken")
	}
	if err := alter(t, s.Store, "DELETE FROM boards"); err == nil {
		t.Error("a board with runs was deleted")
	}
	if after := whole(); after != before {
		t.Errorf("rows changed:\n%s\nbefore:\n%s", after, before)
	}
	got, err := s.FindRun(t.Context(), r.ID)
	if diff := cmp.Diff(r, got); err != nil || diff != "" {
		t.Errorf("the run changed: %v\n%s", err, diff)
	}
}

func TestRunsFromThreeHandlesAtOnce(t *testing.T) {
	s := sit(t)
	const each = 8
	var wg sync.WaitGroup
	for range 3 {
		handle := openAt(t, s.path)
		wg.Go(func() {
			for range each {
				if _, err := handle.SaveRun(t.Context(), s.run()); err != nil {
					t.Error(err)
				}
				if _, err := handle.Runs(t.Context(), s.board.ID); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if n := s.counts(t); n["runs"] != 3*each || n["readings"] != 3*each*len(s.run().Readings) {
		t.Errorf("kept %v, want %d runs", n, 3*each)
	}
}

// A program killed in the midst of keeping runs leaves whole runs only. The
// program is this test, started again.
func TestKilledWhileKeeping(t *testing.T) {
	if path := os.Getenv("BOARDPROOF_TEST_KEEP_RUNS"); path != "" {
		s := openAt(t, path)
		b, err := s.FindBoard(t.Context(), "Night Train")
		if err != nil {
			t.Fatal(err)
		}
		for {
			ref, err := s.SaveTake(take(), "tone", 1)
			if err != nil {
				t.Fatal(err)
			}
			r := sitting{board: b, take: ref}.run()
			if _, err := s.SaveRun(t.Context(), r); err != nil {
				t.Fatal(err)
			}
		}
	}
	s := sit(t)
	for kill := 1; kill <= 5; kill++ {
		before := count(t, s.Store, "runs")
		cmd := restarted(t, "TestKilledWhileKeeping", "BOARDPROOF_TEST_KEEP_RUNS="+s.path)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for start := time.Now(); count(t, s.Store, "runs") <= before; time.Sleep(time.Duration(kill) * time.Millisecond) {
			if time.Since(start) > 5*time.Minute {
				t.Fatal("the other program keeps no runs")
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err == nil {
			t.Fatal("the other program ended before it was killed")
		}
	}
	n := s.counts(t)
	per := sitting{take: s.take}.run()
	if n["readings"] != n["runs"]*len(per.Readings) || n["curves"] != n["runs"] || n["refusals"] != n["runs"] || n["takes"] != n["runs"] {
		t.Errorf("parts of a run were left: %v", n)
	}
	var check string
	if err := s.db.QueryRow("PRAGMA integrity_check").Scan(&check); err != nil || check != "ok" {
		t.Errorf("integrity: %q, %v", check, err)
	}
	runs, err := s.Runs(t.Context(), s.board.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		whole, err := s.FindRun(t.Context(), r.ID)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.LoadTake(whole.Takes[0]); err != nil {
			t.Errorf("run %s names a take that is not there: %v", r.ID, err)
		}
	}
}

func restarted(t *testing.T, test, env string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.run", "^"+test+"$")
	cmd.Env = append(os.Environ(), env)
	cmd.Dir = filepath.Dir(self)
	return cmd
}
