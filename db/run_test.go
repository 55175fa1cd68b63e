package db

import (
	"errors"
	"fmt"
	"math"
	"strings"
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
				Value: -0.173, Unit: "dB", Uncertainty: 0.004, K: 2, FloorLimited: true, Note: "swapped",
				Budget: analysis.Budget{{Source: "noise", Kind: "A", Std: 0.0012}, {Source: "lead", Kind: "B", Std: 0.0016}}},
				Step: "path", Limit: &verdict.Limit{Min: at(-0.25), Max: at(0.25)}, Verdict: verdict.Pass},
			{Reading: analysis.Reading{Quantity: "hum_harmonic", Output: "A", Harmonic: 3, Value: -120, Unit: "dBu", K: 2, UpperBound: true}, Step: "silence"},
			{Reading: analysis.Reading{Quantity: "high_corner", Output: "A", Value: 22000, Unit: "Hz", K: 2, LowerBound: true},
				Limit: &verdict.Limit{Min: at(0)}, Verdict: verdict.ConditionalPass, ChanceWrong: at(0.12)},
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
	want.Digest, want.Named = Digest(kept), kept.Named
	if want.Digest == "" || want.Named.Profile == "" || want.Named.Plan == "" {
		t.Errorf("kept without a digest: %+v", kept)
	}
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
	want.Readings, want.Curves, want.Refused, want.Takes, want.Named = nil, nil, nil, nil, Named{}
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
	if err := alter(t, s.Store, "INSERT INTO runs SELECT 'r20261126-9999', board_id, board_as_was, bench, profile_id, plan_id, simulated, operator, started, finished, method_version, corrects, verdict, notes, digest, recomputes, origin_id FROM runs WHERE id = 'r20261126-0001'"); err != nil {
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

// Where nobody wrote down that a board went out it is taken to have left with the
// first run that passed its plan and stands: not with one that was corrected,
// whatever the correction says.
func TestFirstPassedStands(t *testing.T) {
	run := func(id string, plan int64, v verdict.Outcome, corrects string) Run {
		return Run{ID: id, PlanID: plan, Verdict: v, Corrects: corrects}
	}
	for want, runs := range map[string][]Run{
		"correction": {run("no plan", 0, "", ""), run("failed", 1, verdict.Fail, ""), run("corrected", 1, verdict.Pass, ""),
			run("correction", 1, verdict.ConditionalPass, "corrected"), run("later", 1, verdict.Pass, "")},
		"later": {run("corrected", 1, verdict.Pass, ""), run("failed after all", 1, verdict.Fail, "corrected"), run("later", 1, verdict.Pass, "")},
		"":      {run("corrected", 1, verdict.Pass, ""), run("failed after all", 1, verdict.ConditionalFail, "corrected"), run("not measured", 1, verdict.NotMeasured, "")},
	} {
		if got, ok := FirstPassed(runs); got.ID != want || ok != (want != "") {
			t.Errorf("left with %q, %v, want %q", got.ID, ok, want)
		}
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
		"unknown recompute": {func(r *Run) { r.Recomputes = "r1" }, ErrNotFound, `run "r1 of board Night Train"`},
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
