package db

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// hunt is one with every column set and two conditions.
func (s sitting) hunt() Hunt {
	read := func(c hunt.Condition, volts float64) HuntCondition {
		return HuntCondition{Condition: c, On: []string{"fuzz"}, Why: "tells a loop from a field", Take: s.take, Readings: []hunt.Reading{{
			Output: "B", Condition: c, AtS: 3, LengthS: 8, InVolts: true, MainsHz: analysis.Estimate{Value: 50.01, Std: 1e-4},
			Levels: map[string]hunt.Level{hunt.Fundamental: {RMS: analysis.Estimate{Value: volts, Std: 1e-7}, RawRMS: volts, BenchRMS: 1e-7}},
		}}}
	}
	cure := hunt.Change{Output: "B", Group: hunt.Fundamental, DB: analysis.Estimate{Value: -31.2, Std: 0.1}, ExpandedDB: 0.2}
	return Hunt{
		BoardID: s.board.ID, Name: "two amplifiers", Search: hunt.SupplyOff, Bench: "bench one", ProfileID: s.profile.ID, Simulated: true,
		Unfinished: true, Operator: "Ida", Started: noon, Finished: noon.Add(9 * time.Minute), MethodVersion: "1", Notes: "loud",
		Setup: hunt.Board{Outputs: []string{"A", "B"}, Isolator: true},
		Finding: hunt.Finding{Weighing: &hunt.Weighing{Output: "B", Causes: []hunt.Weighed{{Cause: hunt.GroundLoop, Score: 0.97}}, Decided: true},
			Cure: &cure, Decided: true, Text: "The loop runs through output B."},
		Conditions: []HuntCondition{read(hunt.AsFound, 1e-3), read(hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}, 1e-5)},
	}
}

func (s sitting) saveHunt(t *testing.T) Hunt {
	t.Helper()
	h, err := s.SaveHunt(t.Context(), s.hunt())
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func TestHuntComesBackWhole(t *testing.T) {
	s := sit(t)
	want := s.hunt()
	kept := s.saveHunt(t)
	want.ID, want.BoardAsWas = "h20261125-0001", s.board
	if diff := cmp.Diff(want, kept); diff != "" {
		t.Errorf("as kept (-want +got):\n%s", diff)
	}
	for _, id := range []string{"h20261125-0001", "H2026", "h"} {
		got, err := s.FindHunt(t.Context(), id)
		if diff := cmp.Diff(want, got); err != nil || diff != "" {
			t.Errorf("found by %q: %v (-want +got):\n%s", id, err, diff)
		}
	}
	if got := want.Readings(); len(got) != 2 || got[1].Condition.Subject != "B" {
		t.Errorf("readings %+v", got)
	}
	second := s.saveHunt(t)
	if _, err := s.FindHunt(t.Context(), "h2026"); !errors.Is(err, ErrAmbiguous) {
		t.Errorf("two hunts begin so: %v", err)
	}
	if _, err := s.FindHunt(t.Context(), "h2027"); !errors.Is(err, ErrNotFound) {
		t.Errorf("no hunt begins so: %v", err)
	}
	want.Conditions, second.Conditions = nil, nil
	for _, of := range []int64{s.board.ID, 0} {
		list, err := s.Hunts(t.Context(), of)
		if diff := cmp.Diff([]Hunt{want, second}, list); err != nil || diff != "" {
			t.Errorf("list of %d: %v\n%s", of, err, diff)
		}
	}
	if list, err := s.Hunts(t.Context(), s.board.ID+1); err != nil || len(list) != 0 {
		t.Errorf("another board's hunts: %v, %v", list, err)
	}
}

func TestHuntUnfitToBeKept(t *testing.T) {
	s := sit(t)
	for name, spoil := range map[string]func(*Hunt){
		"nothing was measured":      func(h *Hunt) { h.Conditions = nil },
		"version of its methods":    func(h *Hunt) { h.MethodVersion = "" },
		"ended before it began":     func(h *Hunt) { h.Finished = noon.Add(-time.Hour) },
		"was not kept before":       func(h *Hunt) { h.Conditions[1].Take.SHA256 = strings.Repeat("0", 64) },
		"board \"999\" is not":      func(h *Hunt) { h.BoardID = 999 },
		"profile \"p0\" is not":     func(h *Hunt) { h.ProfileID = "p0" },
		"not both simulated":        func(h *Hunt) { h.Simulated = false },
		"has a figure that is none": func(h *Hunt) { h.Conditions[1].Readings[0].MainsHz.Value = nan() },
	} {
		h := s.hunt()
		spoil(&h)
		if _, err := s.SaveHunt(t.Context(), h); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := count(t, s.Store, "hunts") + count(t, s.Store, "hunt_conditions"); n != 0 {
		t.Errorf("%d rows were left behind", n)
	}
}

func nan() float64 {
	zero := 0.0
	return zero / zero
}

func TestKeptHuntIsNeverChanged(t *testing.T) {
	s := sit(t)
	h := s.saveHunt(t)
	for _, attempt := range []string{
		"UPDATE hunts SET name = 'x'", "DELETE FROM hunts", "INSERT OR REPLACE INTO hunts SELECT * FROM hunts",
		"UPDATE hunt_conditions SET subject = 'x'", "DELETE FROM hunt_conditions", "INSERT OR REPLACE INTO hunt_conditions SELECT * FROM hunt_conditions",
		"INSERT INTO hunt_conditions VALUES ('" + h.ID + "', 99, '', '', '" + s.take.SHA256 + "', '{}')",
	} {
		if err := alter(t, s.Store, attempt); err == nil || !strings.Contains(err.Error(), "is never changed") {
			t.Errorf("%s: %v, want it refused", attempt, err)
		}
	}
	if err := alter(t, s.Store, "INSERT INTO hunt_conditions VALUES ('h0', 0, '', '', '"+s.take.SHA256+"', '{}')"); err == nil {
		t.Error("a condition of no hunt was taken")
	}
	got, err := s.FindHunt(t.Context(), h.ID)
	if diff := cmp.Diff(h, got); err != nil || diff != "" {
		t.Errorf("the hunt changed: %v\n%s", err, diff)
	}
}

// A store that had the files on both sides of the hunts' still gets them.
func TestHuntsComeInBetween(t *testing.T) {
	s := newStore(t)
	path := s.path
	for _, drop := range []string{"DROP TABLE hunts", "DROP TABLE hunt_conditions",
		"DROP INDEX events_undigested", "DROP INDEX plans_undigested", "DROP TRIGGER events_no_update", "DROP TRIGGER plans_no_update",
		"ALTER TABLE events DROP COLUMN digest", "ALTER TABLE plans DROP COLUMN digest",
		"CREATE TRIGGER events_no_update BEFORE UPDATE ON events BEGIN SELECT 1; END",
		"CREATE TRIGGER plans_no_update BEFORE UPDATE ON plans BEGIN SELECT 1; END",
		"DELETE FROM goose_db_version WHERE version_id IN (3, 6)", "INSERT INTO goose_db_version (version_id, is_applied) SELECT max(version_id), 1 FROM goose_db_version"} {
		if err := alter(t, s, drop); err != nil {
			t.Fatal(err)
		}
	}
	if again := openAt(t, path); count(t, again, "hunts") != 0 {
		t.Error("the store has hunts from nowhere")
	}
}
