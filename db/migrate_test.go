package db

import (
	"database/sql"
	"io/fs"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/pressly/goose/v3"

	"boardproof/analysis/verdict"
)

// storeOfVersion is a store as an early version made it, with one run of one
// reading.
func storeOfVersion(t *testing.T, version int64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "old.db")
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	files, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		t.Fatal(err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(t.Context(), version); err != nil {
		t.Fatal(err)
	}
	for _, row := range []string{
		`INSERT INTO boards VALUES (1, 'Old Oak', 'old oak', '', '', '["A"]', '', '2026-01-02T03:04:05.000000000Z')`,
		`INSERT INTO benches (name_key, name, kind, device, host, rate_hz, output, inputs) VALUES ('old', 'Old', 'simboard', 'good', 'none', 48000, 1, '{"A":1}')`,
		`INSERT INTO readings (run_id, position, step, state, quantity, output, reference, frequency_hz, harmonic, weighting, value, unit,
			uncertainty, k, upper_bound, lower_bound, floor_limited, limit_min, limit_max, verdict, note, method_version)
			VALUES ('r20260102-0001', 0, 'path', '', 'gain', 'A', '', 1000, NULL, '', -0.5, 'dB', 0.6, 2, 0, 0, 0, -1, 0, 'conditional pass', '', '1')`,
		`INSERT INTO runs VALUES ('r20260102-0001', 1, '{}', 'bench', NULL, NULL, 0, 'Ida', '2026-01-02T03:04:05.000000000Z', '2026-01-02T03:05:05.000000000Z', '1', NULL, 'conditional pass', '')`,
	} {
		if _, err := db.ExecContext(t.Context(), row); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func TestOldStoreMigrates(t *testing.T) {
	path := storeOfVersion(t, 1)
	s := openAt(t, path)
	r, err := s.FindRun(t.Context(), "r2026")
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Readings) != 1 || r.Readings[0].Value != -0.5 || r.Readings[0].Verdict != verdict.ConditionalPass {
		t.Fatalf("the old reading came back as %+v", r.Readings)
	}
	if j := r.Readings[0]; j.Budget != nil || j.ChanceWrong != nil {
		t.Errorf("an old reading has budget %v and chance %v from nowhere", j.Budget, j.ChanceWrong)
	}
	if b, err := s.Bench(t.Context(), "old"); err != nil || b.MainsHz != 0 {
		t.Errorf("the mains of an old bench, which nobody named, is %d Hz, %v", b.MainsHz, err)
	}
	if err := alter(t, s, "UPDATE readings SET note = 'x'"); err == nil {
		t.Error("a reading of an old store can be changed once it is migrated")
	}
	// A run of today is kept beside it.
	now := sitting{Store: s}
	if now.board, err = s.FindBoard(t.Context(), "old oak"); err != nil {
		t.Fatal(err)
	}
	if now.take, err = s.SaveTake(take(), "tone", 1); err != nil {
		t.Fatal(err)
	}
	kept := now.save(t)
	got, err := s.FindRun(t.Context(), kept.ID)
	if diff := cmp.Diff(kept.Readings, got.Readings); err != nil || diff != "" {
		t.Errorf("a run kept in a migrated store: %v\n%s", err, diff)
	}
}

// A store of before there were events keeps its boards and runs, and its boards
// are found.
func TestOldBoardsAreFound(t *testing.T) {
	path := storeOfVersion(t, 2)
	old, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []string{
		`UPDATE boards SET owner = 'Ida EXAMPLE', serial = ' OO-1 ' WHERE id = 1`,
		`INSERT INTO devices VALUES (1, 1, 'Moss', 'Fuzz', 9, 4, ''), (1, 2, 'Reed', 'tremolo', 9, 20, '')`,
		`INSERT INTO boards VALUES (2, 'Bare', 'bare', '', '', '["A"]', '', '2026-01-02T03:04:05.000000000Z')`,
	} {
		if _, err := old.ExecContext(t.Context(), row); err != nil {
			t.Fatal(err)
		}
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	s := openAt(t, path)
	for _, q := range []BoardQuery{{Owner: "example"}, {Serial: "oo-1"}, {Device: "moss, fuzz"}, {Device: "tremolo"}, {Verdicts: []verdict.Outcome{verdict.ConditionalPass}}} {
		if found, err := s.FindBoards(t.Context(), q); err != nil || len(found) != 1 || found[0].Label != "Old Oak" || found[0].Latest.ID != "r20260102-0001" {
			t.Errorf("%+v: %+v, %v", q, found, err)
		}
	}
	b, err := s.FindBoard(t.Context(), "oo-1")
	if err != nil || len(b.Chain) != 2 || len(b.UID) != 32 {
		t.Fatalf("%+v, %v", b, err)
	}
	l, err := s.Life(t.Context(), b.ID)
	if err != nil || len(l.Runs) != 1 || len(l.Events) != 0 || len(l.Visits) != 0 {
		t.Errorf("its life: %+v, %v", l, err)
	}
	e, err := s.AddEvent(t.Context(), Event{BoardID: b.ID, Kind: WentOut})
	if err != nil || e.RunID != "r20260102-0001" {
		t.Errorf("it goes out with %q, %v", e.RunID, err)
	}
	if all, err := s.Boards(t.Context()); err != nil || len(all) != 2 || all[0].UID == all[1].UID {
		t.Errorf("boards after the migration: %+v, %v", all, err)
	}
}
