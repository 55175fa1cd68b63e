package db

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// full is a store with rows in every table.
func full(t *testing.T) *Store {
	t.Helper()
	from := lived(t)
	from.event(t, 1, Event{Kind: Complaint, Text: "crackles", RunID: "r20261125-0004"})
	s := newStore(t)
	b := board("Another")
	b.Chain = []Device{{Name: "Wren", Kind: "fuzz", SupplyV: 9}}
	if _, err := s.AddBoard(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	importInto(t, s, export(t, from.Store, from.board.ID))
	if err := s.SetBench(t.Context(), bench("bench two")); err != nil {
		t.Fatal(err)
	}
	sit, err := s.BeginSitting(t.Context(), Sitting{Kind: Acceptance, BoardID: 1, Bench: "bench two", Setup: json.RawMessage(`{"plan":1}`)})
	if err != nil {
		t.Fatal(err)
	}
	ref, err := s.SaveTake(take(), "tone", 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.KeepEntry(t.Context(), sit.ID, SittingEntry{What: "tone", Take: &ref}); err != nil {
		t.Fatal(err)
	}
	old := take()
	old.Samples[0][0] = 0.25
	if ref, err = s.SaveTake(old, "tone", 1); err != nil {
		t.Fatal(err)
	}
	all, err := s.Boards(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r := from.run()
	r.BoardID, r.ProfileID, r.PlanID, r.Takes = all[len(all)-1].ID, "", 0, []TakeRef{ref}
	if _, err := s.SaveRun(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	s.Now = func() time.Time { return noon.AddDate(3, 0, 0) }
	found, err := s.Tidiable(t.Context(), noon.AddDate(1, 0, 0))
	if err != nil || len(found.Old) == 0 {
		t.Fatalf("%+v, %v", found, err)
	}
	if _, err := s.Tidy(t.Context(), found); err != nil {
		t.Fatal(err)
	}
	return s
}

// other gives a value that is another one, of the same type.
const other = `CASE typeof(%[1]s) WHEN 'integer' THEN %[1]s + 1 WHEN 'real' THEN %[1]s + 0.5 WHEN 'text' THEN %[1]s || 'x' ELSE
	CASE (SELECT type FROM pragma_table_info('%[2]s') WHERE name = '%[1]s') WHEN 'TEXT' THEN 'x' ELSE 1 END END`

// Every column of every table that the schema names is changed in one row, as
// another program would, and verify names it.
func TestVerifyNamesEveryColumn(t *testing.T) {
	if testing.Short() {
		t.Skip("a store for each column")
	}
	s := full(t)
	if v := verify(t, s); len(v.Damage) != 0 {
		t.Fatalf("before anything is changed: %+v", v.Damage)
	}
	s.db.SetMaxOpenConns(1) // for the PRAGMAs
	triggers, err := collect(t.Context(), s.db, scanText, "SELECT name FROM sqlite_master WHERE type = 'trigger'")
	if err != nil {
		t.Fatal(err)
	}
	queries := []string{"PRAGMA foreign_keys = OFF", "PRAGMA ignore_check_constraints = ON"}
	for _, name := range triggers {
		queries = append(queries, "DROP TRIGGER "+name)
	}
	for _, q := range queries {
		if err := alter(t, s, q); err != nil {
			t.Fatal(err)
		}
	}
	tables, err := collect(t.Context(), s.db, scanText, "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
	if err != nil || len(tables) < 18 {
		t.Fatalf("tables %q, %v", tables, err)
	}
	tried := 0
	for _, table := range tables {
		columns, err := collect(t.Context(), s.db, scanText, "SELECT name FROM pragma_table_info($1)", table)
		if err != nil || count(t, s, table) == 0 {
			t.Errorf("table %s has no rows to change, %v", table, err)
		}
		for _, c := range columns {
			tried++
			namesColumn(t, s, table, c)
		}
	}
	t.Logf("%d columns of %d tables", tried, len(tables))
	if v := verify(t, s); len(v.Damage) != 0 {
		t.Errorf("after everything was changed back: %+v", v.Damage)
	}
}

// namesColumn changes a column of one row, verifies, and changes it back.
func namesColumn(t *testing.T, s *Store, table, column string) {
	t.Helper()
	var row int64
	var was any
	if err := s.db.QueryRow(fmt.Sprintf("SELECT rowid, %s FROM %s ORDER BY rowid DESC LIMIT 1", column, table)).Scan(&row, &was); err != nil {
		t.Fatal(err)
	}
	if raw, ok := was.([]byte); ok {
		was = string(raw)
	}
	if err := alter(t, s, fmt.Sprintf("UPDATE %[2]s SET %[1]s = "+other+" WHERE rowid = %[3]d", column, table, row)); err != nil {
		t.Fatalf("%s.%s: %v", table, column, err)
	}
	if v := verify(t, s); !slices.ContainsFunc(v.Damage, func(d Damage) bool { return d.How != "" && d.What != "" }) {
		t.Errorf("%s.%s was changed and nothing was said", table, column)
	}
	at := "rowid"
	if n, err := collect(t.Context(), s.db, scanText, "SELECT name FROM pragma_table_info($1) WHERE pk = 1 AND type = 'INTEGER' AND (SELECT max(pk) FROM pragma_table_info($1)) = 1", table); err == nil && slices.Contains(n, column) {
		row++ // the rowid is the column
	}
	if err := alter(t, s, fmt.Sprintf("UPDATE %s SET %s = $1 WHERE %s = %d", table, column, at, row), was); err != nil {
		t.Fatalf("%s.%s: %v", table, column, err)
	}
}

// A column that is added later is sealed without a line of code, and changes no
// seal of before.
func TestNewColumnIsSealed(t *testing.T) {
	s := full(t)
	for _, q := range []string{"ALTER TABLE boards ADD COLUMN weight_kg REAL", "ALTER TABLE devices ADD COLUMN colour TEXT NOT NULL DEFAULT 'red'"} {
		if err := alter(t, s, q); err != nil {
			t.Fatal(err)
		}
	}
	again := openAt(t, s.path)
	if v := verify(t, again); len(v.Damage) != 0 {
		t.Fatalf("new columns changed old seals: %+v", v.Damage)
	}
	for _, q := range []string{"UPDATE boards SET weight_kg = 7", "UPDATE devices SET colour = 'blue'"} {
		if err := alter(t, s, q); err != nil {
			t.Fatal(err)
		}
		if v := verify(t, again); len(v.Damage) == 0 || !strings.Contains(v.Damage[0].Name, "boards ") {
			t.Errorf("%s: %+v", q, v.Damage)
		}
	}
}

// A row that is gone, or that another program wrote, is named.
func TestVerifyNamesRowsComeAndGone(t *testing.T) {
	for query, want := range map[string]string{
		"DELETE FROM benches":          "it is gone",
		"DELETE FROM archived_benches": "changed since it was kept",
		"DELETE FROM sitting_entries":  "changed since it was kept",
		"INSERT INTO benches SELECT 'x', name, kind, device, host, rate_hz, output, inputs, mains_hz FROM benches": "another program wrote it",
	} {
		s := full(t)
		if err := alter(t, s, query); err != nil {
			t.Fatal(err)
		}
		if v := verify(t, s); len(v.Damage) != 1 || !strings.Contains(v.Damage[0].How, want) {
			t.Errorf("%s: %+v", query, v.Damage)
		}
	}
}

// An edit does not hide what was changed past boardproof before it.
func TestEditDoesNotHideAChange(t *testing.T) {
	s := full(t)
	if err := alter(t, s, "UPDATE boards SET owner = 'nobody' WHERE id = 1"); err != nil {
		t.Fatal(err)
	}
	notes := "new strings"
	_, _, err := s.EditBoard(t.Context(), 1, BoardEdit{Notes: &notes})
	if err == nil || !strings.Contains(err.Error(), "boards, row 1, is not as it was kept") {
		t.Errorf("edited: %v", err)
	}
	if v := verify(t, s); len(v.Damage) != 1 {
		t.Errorf("%+v", v.Damage)
	}
}
