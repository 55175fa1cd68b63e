package db

import (
	"errors"
	"fmt"
	"math"
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
	"boardproof/calibration"
)

var runTables = []string{"runs", "readings", "curves", "refusals", "takes"}

func at(v float64) *float64 { return &v }

// sitting is a store with a board, a profile, a plan and one kept take.
type sitting struct {
	*Store
	board   Board
	profile calibration.Profile
	plan    Plan
	take    TakeRef
}

func sit(t *testing.T) sitting {
	t.Helper()
	s := newStore(t)
	b := addBoard(t, s, "Night Train")
	p, err := s.SaveProfile(t.Context(), profile("bench one"))
	if err != nil {
		t.Fatal(err)
	}
	plan, err := s.SavePlan(t.Context(), b.ID, verdict.DefaultPlanTOML)
	if err != nil {
		t.Fatal(err)
	}
	ref, err := s.SaveTake(take(), "tone", 2)
	if err != nil {
		t.Fatal(err)
	}
	return sitting{s, b, p, plan, ref}
}

// run is one with every kind of row and every column that a reading has.
func (s sitting) run() Run {
	return Run{
		BoardID: s.board.ID, Bench: "bench one", ProfileID: s.profile.ID, PlanID: s.plan.ID, Simulated: true,
		Operator: "Ida", Started: noon, Finished: noon.Add(4*time.Minute + time.Nanosecond), MethodVersion: "1", Notes: "first",
		Readings: []verdict.Judged{
			{Reading: analysis.Reading{Quantity: "level_match", Output: "B", Reference: "A", State: "all bypassed", FrequencyHz: 1000,
				Value: -0.173, Unit: "dB", Uncertainty: 0.004, K: 2, FloorLimited: true, Note: "swapped"},
				Step: "path", Limit: &verdict.Limit{Min: at(-0.25), Max: at(0.25)}, Verdict: verdict.Pass},
			{Reading: analysis.Reading{Quantity: "hum_harmonic", Output: "A", Harmonic: 3, Value: -120, Unit: "dBu", K: 2, UpperBound: true}, Step: "silence"},
			{Reading: analysis.Reading{Quantity: "high_corner", Output: "A", Value: 22000, Unit: "Hz", K: 2, LowerBound: true},
				Limit: &verdict.Limit{Min: at(0)}, Verdict: verdict.ConditionalPass},
			{Reading: analysis.Reading{Quantity: "noise", Weighting: "468", Unit: "dBu", K: 2},
				Limit: &verdict.Limit{Max: at(0)}, Verdict: verdict.Pass},
			{Reading: analysis.Reading{Quantity: "gain", Output: "B", Note: "lost samples"}, Absent: true,
				Limit: &verdict.Limit{Max: at(1)}, Verdict: verdict.NotMeasured},
		},
		Curves: []analysis.Curve{{Quantity: "response", Output: "A", FrequencyHz: []float64{10, 1e3 / 3}, Value: []float64{-1e-17, math.Pi},
			Unit: "dB", PhaseDeg: []float64{1, 2}, Uncertainty: []float64{0.1, 0.2}}},
		Refused: []analysis.Refusal{{Quantity: "gain", Output: "B", Reference: "A", State: "s", Reason: "lost samples: marks 480064 apart, played 480000"}},
		Takes:   []TakeRef{s.take},
	}
}

func (s sitting) save(t *testing.T) Run {
	t.Helper()
	r, err := s.SaveRun(t.Context(), s.run())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (s sitting) counts(t *testing.T) map[string]int {
	t.Helper()
	n := map[string]int{}
	for _, table := range runTables {
		n[table] = count(t, s.Store, table)
	}
	return n
}

func TestRunComesBackWhole(t *testing.T) {
	s := sit(t)
	want := s.run()
	kept := s.save(t)
	want.ID, want.BoardAsWas, want.Verdict = "r20261125-0001", s.board, verdict.NotMeasured
	if diff := cmp.Diff(want, kept); diff != "" {
		t.Errorf("as kept (-want +got):\n%s", diff)
	}
	for _, id := range []string{"r20261125-0001", "R2026", "r"} {
		got, err := s.FindRun(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("found by %q (-want +got):\n%s", id, diff)
		}
	}
	want.Readings, want.Curves, want.Refused, want.Takes = nil, nil, nil, nil
	list, err := s.Runs(t.Context(), s.board.ID)
	if diff := cmp.Diff([]Run{want}, list); err != nil || diff != "" {
		t.Errorf("list: %v\n%s", err, diff)
	}
	var method string
	var frequency *float64
	err = s.db.QueryRow("SELECT method_version, frequency_hz FROM readings WHERE quantity = 'hum_harmonic'").Scan(&method, &frequency)
	if err != nil || method != "1" || frequency != nil {
		t.Errorf("columns of a reading: method %q, frequency %v, %v", method, frequency, err)
	}
}

func TestRunIDsSortAndAreFound(t *testing.T) {
	s := sit(t)
	var ids []string
	for _, now := range []time.Time{noon, noon, noon.Add(24 * time.Hour), noon.Add(24 * time.Hour)} {
		s.Now = func() time.Time { return now }
		ids = append(ids, s.save(t).ID)
	}
	want := []string{"r20261125-0001", "r20261125-0002", "r20261126-0001", "r20261126-0002"}
	if diff := cmp.Diff(want, ids); diff != "" {
		t.Errorf("ids (-want +got):\n%s", diff)
	}
	if _, err := s.FindRun(t.Context(), "r20261126"); !errors.Is(err, ErrAmbiguous) || !strings.Contains(err.Error(), `could be "r20261126-0001" or "r20261126-0002"`) {
		t.Errorf("two runs begin so: %v", err)
	}
	for _, id := range []string{"r2027", "", "x"} {
		if _, err := s.FindRun(t.Context(), id); !errors.Is(err, ErrNotFound) {
			t.Errorf("run %q: %v, want not found", id, err)
		}
	}
	// The ten thousandth run of a day still has an id of its own.
	if err := alter(t, s.Store, "INSERT INTO runs SELECT 'r20261126-9999', board_id, board_as_was, bench, profile_id, plan_id, simulated, operator, started, finished, method_version, corrects, verdict, notes FROM runs WHERE id = 'r20261126-0001'"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"r20261126-10000", "r20261126-10001"} {
		if got := s.save(t).ID; got != want {
			t.Errorf("run after 9999: %s, want %s", got, want)
		}
	}
}

func TestAbsentReadingNeedsNoFigures(t *testing.T) {
	s := sit(t)
	r := s.run()
	r.Readings[4].Value, r.Readings[4].Uncertainty = math.NaN(), math.NaN()
	if _, err := s.SaveRun(t.Context(), r); err != nil {
		t.Error(err)
	}
}

func TestCorrectionIsANewRun(t *testing.T) {
	s := sit(t)
	first := s.save(t)
	again := s.run()
	again.Corrects, again.PlanID, again.ProfileID = first.ID, 0, ""
	kept, err := s.SaveRun(t.Context(), again)
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.FindRun(t.Context(), kept.ID)
	if err != nil || got.Corrects != first.ID || got.PlanID != 0 || got.ProfileID != "" || got.Verdict != "" {
		t.Errorf("correction came back as %+v, %v", got, err)
	}
}

func TestSaveRunRefusesAndWritesNothing(t *testing.T) {
	s := sit(t)
	first := s.save(t)
	other := addBoard(t, s.Store, "Other")
	realProfile := profile("bench two")
	realProfile.Simulated = false
	real, err := s.SaveProfile(t.Context(), realProfile)
	if err != nil {
		t.Fatal(err)
	}
	before := s.counts(t)
	for name, c := range map[string]struct {
		change func(*Run)
		kind   error
		want   string
	}{
		"unknown board":     {func(r *Run) { r.BoardID = 99 }, ErrNotFound, `board "99" is not registered`},
		"unknown profile":   {func(r *Run) { r.ProfileID = "p1" }, ErrNotFound, `profile "p1" is not in the store`},
		"unknown plan":      {func(r *Run) { r.PlanID = 99 }, ErrNotFound, `plan "99 of board Night Train"`},
		"another's plan":    {func(r *Run) { r.BoardID = other.ID }, ErrNotFound, `of board Other" is not in the store`},
		"unknown correct":   {func(r *Run) { r.Corrects = "r1" }, ErrNotFound, `run "r1 of board Night Train"`},
		"another's correct": {func(r *Run) { r.BoardID, r.PlanID, r.Corrects = other.ID, 0, first.ID }, ErrNotFound, `of board Other" is not`},
		"real and not":      {func(r *Run) { r.ProfileID = real.ID }, ErrInvalid, "not both simulated or both real"},
		"no bench":          {func(r *Run) { r.Bench = "" }, ErrInvalid, "name its bench"},
		"no method":         {func(r *Run) { r.MethodVersion = "" }, ErrInvalid, "version of its methods"},
		"no start":          {func(r *Run) { r.Started = time.Time{} }, ErrInvalid, "has no start"},
		"ends first":        {func(r *Run) { r.Finished = noon.Add(-1) }, ErrInvalid, "ended before it began"},
		"not a number":      {func(r *Run) { r.Readings[0].Value = math.NaN() }, ErrInvalid, `level_match at output "B" is NaN`},
		"endless":           {func(r *Run) { r.Readings[1].Uncertainty = math.Inf(1) }, ErrInvalid, `hum_harmonic at output "A"`},
		"hole in a curve":   {func(r *Run) { r.Curves[0].Value[1] = math.NaN() }, ErrInvalid, "the response curve of output \"A\" has a point"},
		"take not kept":     {func(r *Run) { r.Takes[0].SHA256 = strings.Repeat("0", 64) }, ErrTakeDamaged, "was not kept before the run"},
		"take unnamed":      {func(r *Run) { r.Takes[0].SHA256 = "" }, ErrTakeDamaged, "was not kept before the run"},
	} {
		r := s.run()
		c.change(&r)
		_, err := s.SaveRun(t.Context(), r)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
		if diff := cmp.Diff(before, s.counts(t)); diff != "" {
			t.Errorf("%s: rows were left (-before +after):\n%s", name, diff)
		}
	}
}

// Whichever row cannot be written, none is.
func TestSaveRunIsAllOrNothing(t *testing.T) {
	for _, table := range runTables {
		s := sit(t)
		if err := alter(t, s.Store, fmt.Sprintf("CREATE TRIGGER boom BEFORE INSERT ON %s BEGIN SELECT RAISE(ABORT, 'boom'); END", table)); err != nil {
			t.Fatal(err)
		}
		if _, err := s.SaveRun(t.Context(), s.run()); err == nil || !strings.Contains(err.Error(), "boom") {
			t.Errorf("%s cannot be written: %v", table, err)
		}
		for name, n := range s.counts(t) {
			if n != 0 {
				t.Errorf("%s could not be written, but %d rows of %s were", table, n, name)
			}
		}
		if err := alter(t, s.Store, "DROP TRIGGER boom"); err != nil {
			t.Fatal(err)
		}
		if id := s.save(t).ID; id != "r20261125-0001" {
			t.Errorf("the run after a failure is %s, a number was lost", id)
		}
	}
}

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
		"INSERT INTO readings SELECT run_id, 99, step, state, quantity, output, reference, frequency_hz, harmonic, weighting, value, unit, uncertainty, k, upper_bound, lower_bound, floor_limited, limit_min, limit_max, verdict, note, method_version FROM readings LIMIT 1",
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
			if time.Since(start) > 20*time.Second {
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
