package db

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func board(label string) Board {
	return Board{Label: label, Owner: "Ida Example", Serial: "0042", Outputs: []string{"A", "B"}, Notes: "for the road",
		Chain: []Device{
			{Name: "Grit", Kind: "fuzz", SupplyV: 9, SupplyMA: 5, Plug: "2.1 mm, centre negative"},
			{Name: "Line", Kind: "buffer", SupplyV: 18, SupplyMA: 20},
			{Name: "Two ways", Kind: "split"},
		}}
}

func addBoard(t *testing.T, s *Store, label string) Board {
	t.Helper()
	b, err := s.AddBoard(t.Context(), board(label))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestBoardComesBack(t *testing.T) {
	s := newStore(t)
	want := board(" Night Train ")
	kept, err := s.AddBoard(t.Context(), want)
	if err != nil {
		t.Fatal(err)
	}
	want.ID, want.UID, want.Created, want.Label = kept.ID, kept.UID, noon, "Night Train"
	if len(kept.UID) != 32 || kept.UID == addBoard(t, newStore(t), "Night Train").UID {
		t.Errorf("its uid %q is not its own", kept.UID)
	}
	for _, name := range []string{"Night Train", "NIGHT TRAIN", " night t", "n"} {
		got, err := s.FindBoard(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("found by %q (-want +got):\n%s", name, diff)
		}
	}
	byID, err := s.Board(t.Context(), kept.ID)
	if diff := cmp.Diff(want, byID); err != nil || diff != "" {
		t.Errorf("by id: %v\n%s", err, diff)
	}
	want.Chain = nil
	all, err := s.Boards(t.Context())
	if diff := cmp.Diff([]Board{want}, all); err != nil || diff != "" {
		t.Errorf("list: %v\n%s", err, diff)
	}
}

func TestFindBoardTells(t *testing.T) {
	s := newStore(t)
	for _, label := range []string{"Night Train", "Night Owl", "Night", "Ärger", "Größe", "Blue 1", "100%"} {
		addBoard(t, s, label)
	}
	if b, err := s.FindBoard(t.Context(), "night"); err != nil || b.Label != "Night" {
		t.Errorf("a whole label that begins others: %q, %v", b.Label, err)
	}
	if b, err := s.FindBoard(t.Context(), "ärg"); err != nil || b.Label != "Ärger" {
		t.Errorf("case beyond ASCII: %q, %v", b.Label, err)
	}
	if b, err := s.FindBoard(t.Context(), "gr"); err != nil || b.Label != "Größe" {
		t.Errorf("a beginning that goes on beyond ASCII: %q, %v", b.Label, err)
	}
	for name, c := range map[string]struct {
		kind error
		want string
	}{
		"Night ":      {nil, ""},
		"Nigh":        {ErrAmbiguous, `board "Nigh" could be "Night" or "Night Owl" or "Night Train": write more of it`},
		"Nihgt Train": {ErrNotFound, `board "Nihgt Train" is not registered: did you mean "Night Train"`},
		"owl":         {ErrNotFound, `board "owl" is not registered: did you mean "Night Owl"`},
		"Zeppelin":    {ErrNotFound, `board "Zeppelin" is not registered`},
		"%":           {ErrNotFound, `board "%" is not registered`},
		"":            {ErrNotFound, `board "" is not registered`},
	} {
		_, err := s.FindBoard(t.Context(), name)
		if c.kind == nil {
			if err != nil {
				t.Errorf("%q: %v", name, err)
			}
			continue
		}
		if !errors.Is(err, c.kind) || err.Error() != c.want {
			t.Errorf("%q: error %q, want %q", name, err, c.want)
		}
	}
	if _, err := s.Board(t.Context(), 999); !errors.Is(err, ErrNotFound) {
		t.Errorf("board of an unknown id: %v", err)
	}
}

func TestAddBoardRefuses(t *testing.T) {
	s := newStore(t)
	addBoard(t, s, "Night Train")
	for name, c := range map[string]struct {
		change func(*Board)
		kind   error
		want   string
	}{
		"same label":      {func(b *Board) { b.Label = "NIGHT train" }, ErrDuplicate, `a board "Night Train" is registered already: give this one another label`},
		"no label":        {func(b *Board) { b.Label = "  " }, ErrInvalid, "its label must be 1 to 60"},
		"long label":      {func(b *Board) { b.Label = strings.Repeat("ö", 61) }, ErrInvalid, "its label must be 1 to 60"},
		"label of lines":  {func(b *Board) { b.Label = "a\nb" }, ErrInvalid, "printable"},
		"no outputs":      {func(b *Board) { b.Outputs = nil }, ErrInvalid, "it has no outputs"},
		"outputs alike":   {func(b *Board) { b.Outputs = []string{"left", "Left"} }, ErrInvalid, `two outputs "Left"`},
		"output with =":   {func(b *Board) { b.Outputs = []string{"A=1"} }, ErrInvalid, `output "A=1"`},
		"nameless device": {func(b *Board) { b.Chain[2].Name = " " }, ErrInvalid, "device 3 has no name"},
		"supply":          {func(b *Board) { b.Chain[0].SupplyV = 9000 }, ErrInvalid, "9000 V is no supply"},
		"current":         {func(b *Board) { b.Chain[0].SupplyMA = -1 }, ErrInvalid, "-1 mA is no supply"},
	} {
		b := board("Another")
		c.change(&b)
		_, err := s.AddBoard(t.Context(), b)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
	}
	// A failure after the board's own row must take that row with it.
	if err := alter(t, s, "CREATE TRIGGER boom BEFORE INSERT ON devices WHEN NEW.position = 3 BEGIN SELECT RAISE(ABORT, 'boom'); END"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddBoard(t.Context(), board("Another")); err == nil || !strings.Contains(err.Error(), `registering board "Another": device 3: boom`) {
		t.Errorf("device that cannot be written: %v", err)
	}
	if boards, devices := count(t, s, "boards"), count(t, s, "devices"); boards != 1 || devices != 3 {
		t.Errorf("%d boards and %d devices after the failures, want 1 and 3", boards, devices)
	}
}

func TestThousandsOfBoards(t *testing.T) {
	s := openAt(t, filepath.Join(t.TempDir(), "many.db"))
	spoils(s.path) // written past the store, for speed
	tx, err := s.db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	const n = 4000
	for i := range n {
		label := fmt.Sprintf("Board %04d", i)
		if _, err := tx.Exec(sqlAddBoard, label, fold(label), "", "", `["A"]`, "", timeText(noon), newUID(), "", ""); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	all, err := s.Boards(t.Context())
	if err != nil || len(all) != n || all[0].Label != "Board 0000" || all[n-1].Label != "Board 3999" {
		t.Errorf("listed %d boards of %d: %v", len(all), n, err)
	}
	if b, err := s.FindBoard(t.Context(), "board 377 "); !errors.Is(err, ErrAmbiguous) {
		t.Errorf("ten boards begin so: %q, %v", b.Label, err)
	}
	// That it is quick is a matter of the index: no statement may read the
	// whole table to find, or sort it to list; the runs of one day or of one
	// board are few enough to sort.
	for _, query := range []string{sqlBoardByKey, sqlBoardsFrom, sqlBoards, sqlRunsFrom, sqlRunsOfBoard, sqlLastRunOfDay, sqlLatestPlan, sqlLatestProfile, sqlReadings} {
		plan := explain(t, s, query)
		full := strings.Contains(plan, "SCAN") && !strings.Contains(plan, "USING INDEX")
		sorts := strings.Contains(plan, "TEMP B-TREE") && query != sqlLastRunOfDay && query != sqlRunsOfBoard
		if full || sorts {
			t.Errorf("%s\nis carried out as\n%s", query, plan)
		}
	}
}

func explain(t *testing.T, s *Store, query string) string {
	t.Helper()
	args := []any{"a", "b", 1}[:strings.Count(query, "$")]
	lines, err := collect(t.Context(), s.db, func(row scanner) (string, error) {
		var id, parent, unused int
		var detail string
		err := row.Scan(&id, &parent, &unused, &detail)
		return detail, err
	}, "EXPLAIN QUERY PLAN "+query, args...)
	if err != nil || len(lines) == 0 {
		t.Fatal(query, lines, err)
	}
	return strings.Join(lines, "\n")
}

func TestChainWarnings(t *testing.T) {
	chain := func(kinds ...string) []Device {
		var c []Device
		for i, k := range kinds {
			c = append(c, Device{Name: fmt.Sprintf("%c", 'P'+i), Kind: k})
		}
		return c
	}
	for _, c := range []struct {
		chain []Device
		want  []string
	}{
		{nil, nil},
		{chain("fuzz", "buffer", "delay"), nil},
		{chain("buffer", "fuzz"), []string{`"P" buffers the signal ahead of the fuzz "Q"`}},
		{chain("Tuner, buffered bypass", "wah", "Vintage Fuzz"), []string{`"P" buffers the signal ahead of the fuzz "R"`}},
		{chain("true bypass tuner", "unbuffered volume pedal", "fuzz"), nil},
		{chain("buffer", "buffered fuzz"), nil},
		{chain("buffer", "buffer", "fuzz"), []string{`"P" buffers the signal ahead of the fuzz "R"`}},
		{chain("buffered fuzz", "fuzz", "fuzz"), []string{`"P" buffers the signal ahead of the fuzz "Q"`, `"P" buffers the signal ahead of the fuzz "R"`}},
	} {
		got := ChainWarnings(c.chain)
		if len(got) != len(c.want) {
			t.Errorf("%v: %q, want %q", c.chain, got, c.want)
			continue
		}
		for i := range got {
			if !strings.HasPrefix(got[i], c.want[i]) {
				t.Errorf("%v: %q, want %q", c.chain, got[i], c.want[i])
			}
		}
	}
}

func TestDistance(t *testing.T) {
	// kitten to sitting is 3: the usual example, from memory.
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"kitten", "sitting", 3}, {"größe", "grosse", 3}, {"same", "same", 0}} {
		if got := distance(c.a, c.b); got != c.want {
			t.Errorf("distance from %q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}
