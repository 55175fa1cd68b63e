package bigstore

import (
	"io"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/cmd/trial/internal/trials"
	"boardproof/db"
)

func TestFill(t *testing.T) {
	s, err := db.Open(t.Context(), filepath.Join(t.TempDir(), "some.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	const boards, runs = 20, 150
	if err := fill(t.Context(), s, trials.Plan{Trials: boards, Seed: 1, Progress: io.Discard}, runs); err != nil {
		t.Fatal(err)
	}
	found, err := s.FindBoards(t.Context(), db.BoardQuery{})
	if err != nil || len(found) != boards {
		t.Fatalf("%d boards, %v", len(found), err)
	}
	n := 0
	for _, b := range found {
		l, err := s.Life(t.Context(), b.ID)
		if err != nil {
			t.Fatal(err)
		}
		n += len(l.Runs)
		for _, r := range l.Runs {
			if r.Finished.Before(b.Created) {
				t.Errorf("board %s was measured on %v and registered on %v", b.Label, r.Finished, b.Created)
			}
		}
	}
	if n != runs {
		t.Errorf("%d runs, want %d", n, runs)
	}
	if _, err := s.Bench(t.Context(), benchName); err != nil {
		t.Errorf("its bench cannot be asked for: %v", err)
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || v.Runs != runs || len(v.Damage) > 0 || v.Undigested > 0 {
		t.Errorf("looked through: %+v, %v", v, err)
	}
	var out strings.Builder
	if err := timeAll(t.Context(), s, &out); err != nil || strings.Count(out.String(), "\n") != 12 || !strings.Contains(out.String(), "150 rows") {
		t.Errorf("%v\n%s", err, out.String())
	}
}
