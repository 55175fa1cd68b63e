package db

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// digestsOf are those of all rows that have some, by what they are of.
func digestsOf(t *testing.T, s *Store) []string {
	t.Helper()
	var all []string
	for _, d := range rowDigests {
		rows, err := collect(t.Context(), s.db, scanDigestedRow, d.all, 0)
		if err != nil || len(rows) == 0 {
			t.Fatalf("%ss: %d, %v", d.what, len(rows), err)
		}
		for _, r := range rows {
			if len(r.digest) != 64 {
				t.Errorf("%s %s has the digest %q", d.what, r.name, r.digest)
			}
			all = append(all, d.what+" "+r.digest)
		}
	}
	return all
}

// served is a store whose board has a life of everything.
func served(t *testing.T) sitting {
	s := lived(t)
	s.event(t, 1, Event{Kind: WentOut, Who: "Ida"})
	wrong := s.event(t, 400, Event{Kind: CameIn})
	s.event(t, 401, Event{Kind: CameIn, Corrects: wrong.ID, Text: "a day later"})
	if _, _, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Chain: slices.Clone(s.board.Chain[:2]), Reason: "worn"}); err != nil {
		t.Fatal(err)
	}
	return s
}

// Plans, events and hunts are the same in the store that they come to.
func TestRowDigestsGoWithTheBoard(t *testing.T) {
	s, far := served(t), newStore(t)
	archive := export(t, s.Store, s.board.ID)
	got := importInto(t, far, archive)
	want, is := digestsOf(t, s.Store), digestsOf(t, far)
	slices.Sort(want)
	slices.Sort(is)
	if diff := cmp.Diff(want, is); diff != "" {
		t.Errorf("digests (-here +there):\n%s", diff)
	}
	if v := verify(t, far); len(v.Damage) > 0 || v.Undigested > 0 || v.Plans != 2 || v.Events != 4 || v.Hunts != 1 {
		t.Errorf("there: %+v", v)
	}
	if !bytes.Equal(archive, export(t, far, got.Board.ID)) {
		t.Error("exported again it is another")
	}
}

// A store of before these digests keeps every row, and each gets the digest
// that it would have been kept with.
func TestOldRowsGetTheirDigests(t *testing.T) {
	s := served(t)
	want, life := digestsOf(t, s.Store), export(t, s.Store, s.board.ID)
	for _, d := range rowDigests {
		if d.undigested == "" {
			continue
		}
		table := d.what + "s"
		for _, q := range []string{"DROP INDEX %s_undigested", "DROP TRIGGER %s_no_update", "ALTER TABLE %s DROP COLUMN digest",
			"CREATE TRIGGER %[1]s_no_update BEFORE UPDATE ON %[1]s BEGIN SELECT RAISE(ABORT, 'is never changed'); END"} {
			if err := alter(t, s.Store, fmt.Sprintf(q, table)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, q := range []string{"DELETE FROM seals", "PRAGMA user_version = 0", "DELETE FROM goose_db_version WHERE version_id = 6", "DROP TRIGGER hunt_conditions_no_update",
		"INSERT INTO hunts SELECT 'h20261125-0002', board_id, board_as_was, name, search, bench, profile_id, simulated, unfinished, operator, started, finished, method_version, '{', finding, notes FROM hunts"} {
		if err := alter(t, s.Store, q); err != nil {
			t.Fatal(err)
		}
	}
	again := openAt(t, s.path)
	if err := alter(t, again, "DROP TRIGGER hunts_no_delete"); err != nil {
		t.Fatal(err)
	}
	// One that nobody can read does not keep the store shut.
	v := verify(t, again)
	if len(v.Damage) != 1 || v.Damage[0].What != "hunt" || !strings.Contains(v.Damage[0].How, "cannot be read") {
		t.Errorf("looked through: %+v", v)
	}
	if err := alter(t, again, "DELETE FROM hunts WHERE id = 'h20261125-0002'"); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, digestsOf(t, again)); diff != "" {
		t.Errorf("digests (-as kept +given):\n%s", diff)
	}
	if !bytes.Equal(life, export(t, again, s.board.ID)) {
		t.Error("the board's life is another")
	}
	for _, q := range []string{"UPDATE events SET text = 'x'", "UPDATE events SET digest = ''", "UPDATE hunts SET notes = 'x'",
		"UPDATE hunts SET digest = 'x'", "UPDATE plans SET version = version + 10", "UPDATE plans SET digest = 'x'"} {
		if err := alter(t, again, q); err == nil || !strings.Contains(err.Error(), "is never changed") {
			t.Errorf("%s: %v", q, err)
		}
	}
}

// What was changed does not leave as if it were whole.
func TestChangedRowsAreNotExported(t *testing.T) {
	for what, queries := range map[string][]string{
		"plan version 2":         {"DROP TRIGGER plans_no_update", "UPDATE plans SET text = text || ' ' WHERE version = 2"},
		"event e20261126-0001":   {"DROP TRIGGER events_no_update", "UPDATE events SET who = 'Bo' WHERE id = 'e20261126-0001'"},
		"hunt h20261125-0001":    {"DROP TRIGGER hunts_no_update", "UPDATE hunts SET notes = 'x'"},
		"profile p20261125-0001": {"DROP TRIGGER profiles_no_update", "UPDATE profiles SET body = replace(body, 'simboard', 'soundcard')"},
	} {
		s := served(t)
		for _, q := range queries {
			if err := alter(t, s.Store, q); err != nil {
				t.Fatal(err)
			}
		}
		_, err := s.Export(t.Context(), s.board.ID, &bytes.Buffer{})
		if !errors.Is(err, ErrChanged) || !strings.Contains(err.Error(), what+" is not as it was kept") {
			t.Errorf("%s: %v", what, err)
		}
	}
}
