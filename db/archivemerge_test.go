package db

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func (s sitting) edit(t *testing.T, days float64, c BoardEdit) {
	t.Helper()
	s.later(days)
	if _, _, err := s.EditBoard(t.Context(), s.board.ID, c); err != nil {
		t.Fatal(err)
	}
}

// apart is a board in the store where it was made and in another one, which
// took it in with a first edit.
func apart(t *testing.T) (home, away sitting) {
	home = served(t)
	home.edit(t, 500, BoardEdit{Owner: text("Ida Example")})
	away = sitting{Store: newStore(t), take: home.take}
	away.board = importInto(t, away.Store, export(t, home.Store, home.board.ID)).Board
	return home, away
}

// What was changed there alone is taken over; then both are the same to the
// last byte.
func TestImportTakesOverLaterEdits(t *testing.T) {
	home, away := apart(t)
	chain := slices.Clone(home.board.Chain[:1])
	home.edit(t, 501, BoardEdit{Owner: text("Bo Example"), Notes: text("hums"), Chain: chain, Label: text("Day Train"), Outputs: append(slices.Clone(home.board.Outputs), "C")})
	home.edit(t, 502, BoardEdit{Owner: text("Cleo Example")})
	archive := export(t, home.Store, home.board.ID)
	got := importInto(t, away.Store, archive)
	var fields []string
	for _, d := range got.Differences {
		fields = append(fields, d.Field)
		if !d.TakenOver || d.Why != "changed there since" {
			t.Errorf("%+v", d)
		}
	}
	if want := []string{"label", "owner", "notes", "outputs", "chain"}; !slices.Equal(fields, want) {
		t.Errorf("differences in %v, want %v", fields, want)
	}
	if got.Differences[1].What != `"Ida Example" here, "Cleo Example" in the archive` {
		t.Errorf("owner: %s", got.Differences[1].What)
	}
	b, err := away.FindBoard(t.Context(), "day train")
	if err != nil || b.Owner != "Cleo Example" || b.Notes != "hums" || len(b.Outputs) != 3 || len(b.Chain) != 1 {
		t.Errorf("the board there: %+v, %v", b, err)
	}
	if found, err := away.FindBoards(t.Context(), BoardQuery{Owner: "cleo"}); err != nil || len(found) != 1 {
		t.Errorf("found by its new owner: %v, %v", found, err)
	}
	if !bytes.Equal(archive, export(t, away.Store, b.ID)) {
		t.Error("both are not the same now")
	}
	if again := importInto(t, away.Store, archive); len(again.Differences) != 0 {
		t.Errorf("once more: %+v", again.Differences)
	}
}

// What was changed here stays, and is said.
func TestImportKeepsWhatWasChangedHere(t *testing.T) {
	home, away := apart(t)
	before := export(t, away.Store, away.board.ID)
	away.edit(t, 600, BoardEdit{Owner: text("Dario Example"), Notes: text("ours")})
	home.edit(t, 601, BoardEdit{Owner: text("Edda Example"), Serial: text("NT-2")})
	addBoard(t, away.Store, "Day Train")
	home.edit(t, 602, BoardEdit{Label: text("Day Train")})
	got := importInto(t, away.Store, export(t, home.Store, home.board.ID))
	want := []Difference{
		{"label", `"Night Train" here, "Day Train" in the archive`, false, `a board "Day Train" is registered already: give this one another label`},
		{"owner", `"Dario Example" here, "Edda Example" in the archive`, false, "changed here and there"},
		{"serial", `"` + home.board.Serial + `" here, "NT-2" in the archive`, true, "changed there since"},
		{"notes", `"ours" here, "` + home.board.Notes + `" in the archive`, false, "changed here since"},
	}
	if diff := cmp.Diff(want, got.Differences); diff != "" {
		t.Errorf("differences (-want +got):\n%s", diff)
	}
	b, err := away.Board(t.Context(), away.board.ID)
	if err != nil || b.Label != "Night Train" || b.Owner != "Dario Example" || b.Serial != "NT-2" || b.Notes != "ours" {
		t.Errorf("the board there: %+v, %v", b, err)
	}
	// Both histories are whole in both places.
	importInto(t, home.Store, export(t, away.Store, b.ID))
	for _, s := range []sitting{home, away} {
		events, err := s.Events(t.Context(), s.board.ID)
		var all []string
		for _, e := range events {
			all = append(all, e.Changes...)
		}
		for _, line := range []string{"Dario Example", "Edda Example"} {
			if err != nil || !strings.Contains(strings.Join(all, "\n"), line) {
				t.Errorf("%s is not in the history: %q, %v", line, all, err)
			}
		}
	}
	// An archive of before brings nothing back.
	for _, d := range importInto(t, away.Store, before).Differences {
		if d.TakenOver {
			t.Errorf("an older archive: %+v", d)
		}
	}
	if now, err := away.Board(t.Context(), b.ID); err != nil || !cmp.Equal(b, now) {
		t.Errorf("an older archive changed the board: %+v, %v", now, err)
	}
}

// A newer version of the plan that comes with an archive is said.
func TestImportSaysANewPlan(t *testing.T) {
	home, away := apart(t)
	latest, err := home.LatestPlan(t.Context(), home.board.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := home.SavePlan(t.Context(), home.board.ID, []byte(latest.Text+"\n# stricter\n")); err != nil {
		t.Fatal(err)
	}
	archive := export(t, home.Store, home.board.ID)
	if got := importInto(t, away.Store, archive); got.NewestPlan != latest.Version+1 {
		t.Errorf("the newest plan is said to be %d", got.NewestPlan)
	}
	if got := importInto(t, away.Store, archive); got.NewestPlan != 0 {
		t.Errorf("nothing new came, and %d is said", got.NewestPlan)
	}
}
