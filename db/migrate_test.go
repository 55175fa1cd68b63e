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

// storeOfVersion1 is a store as the first version made it, with one run of one
// reading.
func storeOfVersion1(t *testing.T) string {
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
	if _, err := p.UpTo(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	for _, row := range []string{
		`INSERT INTO boards VALUES (1, 'Old Oak', 'old oak', '', '', '["A"]', '', '2026-01-02T03:04:05.000000000Z')`,
		`INSERT INTO readings VALUES ('r20260102-0001', 0, 'path', '', 'gain', 'A', '', 1000, NULL, '', -0.5, 'dB', 0.6, 2, 0, 0, 0, -1, 0, 'conditional pass', '', '1')`,
		`INSERT INTO runs VALUES ('r20260102-0001', 1, '{}', 'bench', NULL, NULL, 0, 'Ida', '2026-01-02T03:04:05.000000000Z', '2026-01-02T03:05:05.000000000Z', '1', NULL, 'conditional pass', '')`,
	} {
		if _, err := db.ExecContext(t.Context(), row); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func TestOldStoreMigrates(t *testing.T) {
	path := storeOfVersion1(t)
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
