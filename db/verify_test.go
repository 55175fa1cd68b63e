package db

import (
	"os"
	"slices"
	"strings"
	"testing"
)

func verify(t *testing.T, s *Store) Verified {
	t.Helper()
	v, err := s.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestVerifyFindsNothingInAWholeStore(t *testing.T) {
	s := lived(t)
	var done, of int64
	first := ""
	v, err := s.Verify(t.Context(), func(doing string, d, o int64) {
		if done, of = d, o; first == "" {
			first = doing
		}
	})
	if first != "verifying the database file" {
		t.Errorf("the first thing told is %q", first)
	}
	if err != nil || len(v.Damage) != 0 || v.Runs != 4 || v.Profiles != 1 || v.Hunts != 1 || v.Takes != 1 || v.Undigested != 0 || v.Bytes == 0 {
		t.Errorf("%+v, %v", v, err)
	}
	if done != of || of == 0 {
		t.Errorf("progress ended at %d of %d", done, of)
	}
	if v := verify(t, openAt(t, storeOfVersion(t, 1))); v.Undigested != 1 || len(v.Damage) != 0 {
		t.Errorf("an old store: %+v", v)
	}
}

// Each thing is damaged past the triggers, as another program or a bad disk
// would, and is named.
func TestVerifyNamesEachDamagedThing(t *testing.T) {
	takeOf := func(s sitting) string { return s.takeFile(s.take.SHA256) }
	write := func(text string) func(t *testing.T, s sitting) {
		return func(t *testing.T, s sitting) {
			if err := os.Chmod(takeOf(s), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(takeOf(s), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	sql := func(queries ...string) func(t *testing.T, s sitting) {
		return func(t *testing.T, s sitting) {
			for _, q := range queries {
				if err := alter(t, s.Store, q); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	for name, c := range map[string]struct {
		damage func(t *testing.T, s sitting)
		want   []string // what, name, how
	}{
		"a take is gone": {func(t *testing.T, s sitting) {
			if err := os.Remove(takeOf(s)); err != nil {
				t.Fatal(err)
			}
		}, []string{"take", "", "its file is gone from store.db.takes"}},
		"a take is another":       {write("RIFF"), []string{"take", "", "its file is not the one that was kept"}},
		"a reading":               {sql("DROP TRIGGER readings_no_update", "UPDATE readings SET uncertainty = 0.003 WHERE run_id = 'r20261125-0002' AND position = 0"), []string{"run", "r20261125-0002", "changed since it was kept"}},
		"a reading gone":          {sql("DROP TRIGGER readings_no_delete", "DELETE FROM readings WHERE run_id = 'r20261125-0002' AND position = 4"), []string{"run", "r20261125-0002", "changed since it was kept"}},
		"a curve":                 {sql("DROP TRIGGER curves_no_update", "UPDATE curves SET body = replace(body, '3.14', '3.15') WHERE run_id = 'r20261125-0001'"), []string{"run", "r20261125-0001", "changed since it was kept"}},
		"a refusal":               {sql("DROP TRIGGER refusals_no_update", "UPDATE refusals SET reason = '' WHERE run_id = 'r20261125-0001'"), []string{"run", "r20261125-0001", "changed since it was kept"}},
		"a curve of no figures":   {sql("DROP TRIGGER curves_no_update", "UPDATE curves SET body = '{' WHERE run_id = 'r20261125-0003'"), []string{"run", "r20261125-0003", "it cannot be read"}},
		"who measured":            {sql("DROP TRIGGER runs_no_update", "UPDATE runs SET operator = 'Bo' WHERE id = 'r20261125-0004'"), []string{"run", "r20261125-0004", "changed since it was kept"}},
		"a profile":               {sql("DROP TRIGGER profiles_no_update", "UPDATE profiles SET body = replace(body, 'simboard', 'soundcard')"), []string{"profile", "p20261125-0001", "changed since it was kept"}},
		"a profile of no figures": {sql("DROP TRIGGER profiles_no_update", "UPDATE profiles SET body = '{'"), []string{"profile", "p20261125-0001", "it cannot be read"}},
		"when a plan was made":    {sql("DROP TRIGGER plans_no_update", "UPDATE plans SET created = '2026-01-01T00:00:00.000000000Z' WHERE version = 2"), []string{"plan", "version 2", "changed since it was kept"}},
		"a plan's version":        {sql("DROP TRIGGER plans_no_update", "UPDATE plans SET version = 9 WHERE version = 2"), []string{"plan", "version 9", "changed since it was kept"}},
		"an event's words":        {sql("DROP TRIGGER events_no_update", "UPDATE events SET text = 'hums'"), []string{"event", "e20261126-0001", "changed since it was kept"}},
		"an event's run":          {sql("DROP TRIGGER events_no_update", "UPDATE events SET run_id = 'r20261125-0003'"), []string{"event", "e20261126-0001", "changed since it was kept"}},
		"an event's uid":          {sql("DROP TRIGGER events_no_update", "UPDATE events SET uid = 'x'"), []string{"event", "e20261126-0001", "changed since it was kept"}},
		"an event of no parts":    {sql("DROP TRIGGER events_no_update", "UPDATE events SET body = '{'"), []string{"event", "e20261126-0001", "it cannot be read"}},
		"a hunt's finding":        {sql("DROP TRIGGER hunts_no_update", "UPDATE hunts SET finding = '{\"text\":\"x\"}'"), []string{"hunt", "h20261125-0001", "changed since it was kept"}},
		"a hunt's silence":        {sql("DROP TRIGGER hunt_conditions_no_update", "UPDATE hunt_conditions SET body = replace(body, '\"change\":\"', '\"change\":\"x')"), []string{"hunt", "h20261125-0001", "changed since it was kept"}},
		"a hunt's silence gone":   {sql("DROP TRIGGER hunt_conditions_no_delete", "DELETE FROM hunt_conditions"), []string{"hunt", "h20261125-0001", "changed since it was kept"}},
		"a row that may not be":   {sql("PRAGMA ignore_check_constraints = ON", "INSERT INTO tidied_takes VALUES ('short', '')", "PRAGMA ignore_check_constraints = OFF"), []string{"database", "", "CHECK constraint failed in tidied_takes"}},
		"a board is gone":         {sql("PRAGMA foreign_keys = OFF", "DELETE FROM boards", "PRAGMA foreign_keys = ON"), []string{"row", "", "names a row of boards that is not there"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := lived(t)
			spoils(s.path)
			s.event(t, 1, Event{Kind: Complaint, Text: "crackles", RunID: "r20261125-0004"})
			s.db.SetMaxOpenConns(1) // for the PRAGMA
			c.damage(t, s)
			v := verify(t, s.Store)
			is := func(d Damage) bool {
				return d.What == c.want[0] && (c.want[1] == "" || d.Name == c.want[1]) && strings.Contains(d.How, c.want[2])
			}
			if !slices.ContainsFunc(v.Damage, is) {
				t.Errorf("damage %+v, want %q", v.Damage, c.want)
			}
			if c.want[0] != "row" && c.want[0] != "database" && len(v.Damage) != 1 {
				t.Errorf("more is damaged than was: %+v", v.Damage)
			}
		})
	}
}

// A changed plan is named, and the runs that it matters to.
func TestVerifyFindsAChangedPlan(t *testing.T) {
	s := lived(t)
	for _, q := range []string{"DROP TRIGGER plans_no_update", "UPDATE plans SET text = text || ' ' WHERE version = 1"} {
		if err := alter(t, s.Store, q); err != nil {
			t.Fatal(err)
		}
	}
	v := verify(t, s.Store)
	if len(v.Damage) != 4 || v.Damage[0].What != "plan" || v.Damage[0].Name != "version 1" || v.Damage[3].How != "the plan that it followed is not as it was kept" {
		t.Errorf("three runs follow the plan, damage %+v", v.Damage)
	}
}
