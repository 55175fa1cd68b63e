package db

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func text(s string) *string { return &s }

func TestEditBoard(t *testing.T) {
	s := sit(t)
	before := s.save(t)
	swapped := []Device{s.board.Chain[1], s.board.Chain[0], {Name: "Lull", Kind: "tremolo"}}
	when := noon.Add(-time.Hour)
	b, events, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Label: text("Day Train"), Owner: text("Öle Example"), Serial: text("0043"),
		Outputs: []string{"A", "B", "C"}, Chain: swapped, Happened: when, Reason: "worn", Who: "Ida"})
	if err != nil {
		t.Fatal(err)
	}
	want := s.board
	want.Label, want.Owner, want.Serial, want.Outputs, want.Chain = "Day Train", "Öle Example", "0043", []string{"A", "B", "C"}, swapped
	kept, err := s.FindBoard(t.Context(), "day train")
	for _, got := range []Board{b, kept} {
		if diff := cmp.Diff(want, got); err != nil || diff != "" {
			t.Errorf("the board: %v (-want +got)\n%s", err, diff)
		}
	}
	for _, q := range []BoardQuery{{Name: "day"}, {Owner: "öle"}, {Serial: "0043"}, {Device: "tremolo"}} {
		if found, err := s.FindBoards(t.Context(), q); err != nil || len(found) != 1 {
			t.Errorf("found by %+v: %v, %v", q, found, err)
		}
	}
	if found, err := s.FindBoards(t.Context(), BoardQuery{Device: "split"}); err != nil || len(found) != 0 {
		t.Errorf("found by a device that is gone: %v, %v", found, err)
	}
	run, err := s.FindRun(t.Context(), before.ID)
	if diff := cmp.Diff(s.board, run.BoardAsWas); err != nil || diff != "" {
		t.Errorf("the board of an old run: %v\n%s", err, diff)
	}
	history, err := s.Events(t.Context(), s.board.ID)
	if diff := cmp.Diff(events, history); err != nil || diff != "" || len(events) != 2 {
		t.Fatalf("events: %v\n%s", err, diff)
	}
	c := events[0]
	lines := []string{"removed Two ways (split) from place 3", "added Lull (tremolo) at place 3", "the order is now line, grit"}
	if diff := cmp.Diff(lines, c.Changes); diff != "" || c.Kind != ChainChanged || !c.Happened.Equal(when) || c.Text != "worn" || c.Who != "Ida" {
		t.Errorf("the change of the chain is %+v\n%s", c, diff)
	}
	if diff := cmp.Diff([][]Device{s.board.Chain, swapped}, [][]Device{c.ChainBefore, c.ChainAfter}); diff != "" {
		t.Errorf("its chains:\n%s", diff)
	}
	if e := events[1]; e.Kind != Edited || len(e.Changes) != 4 || e.Changes[1] != `owner: "Ida Example" before, "Öle Example" now` {
		t.Errorf("the other change is %+v", e)
	}
	if _, events, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Label: text("Day Train")}); err != nil || len(events) != 0 {
		t.Errorf("a change of nothing: %+v, %v", events, err)
	}
}

func TestEditBoardRefuses(t *testing.T) {
	s := sit(t)
	other := addBoard(t, s.Store, "Other")
	// Without runs the outputs are free.
	if b, _, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Outputs: []string{"L"}}); err != nil || len(b.Outputs) != 1 {
		t.Errorf("outputs of a board without runs: %v, %v", b.Outputs, err)
	}
	if _, _, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Outputs: []string{"A", "B"}}); err != nil {
		t.Fatal(err)
	}
	s.save(t)
	n := count(t, s.Store, "events")
	for name, c := range map[string]struct {
		e    BoardEdit
		kind error
		want string
	}{
		"label of another": {BoardEdit{Label: text("OTHER")}, ErrDuplicate, `a board "Other" is registered already`},
		"no label":         {BoardEdit{Label: text(" ")}, ErrInvalid, "its label must be"},
		"output gone":      {BoardEdit{Outputs: []string{"A"}}, ErrInvalid, "are named by runs of it"},
		"outputs swapped":  {BoardEdit{Outputs: []string{"B", "A"}}, ErrInvalid, "are named by runs of it"},
		"nameless device":  {BoardEdit{Chain: []Device{{Kind: "fuzz"}}, Owner: text("x")}, ErrInvalid, "device 1 has no name"},
		"to come":          {BoardEdit{Owner: text("x"), Happened: noon.Add(time.Second)}, ErrInvalid, "has not come yet"},
	} {
		if _, _, err := s.EditBoard(t.Context(), s.board.ID, c.e); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
	}
	if _, _, err := s.EditBoard(t.Context(), 999, BoardEdit{}); !errors.Is(err, ErrNotFound) {
		t.Errorf("a board that is not there: %v", err)
	}
	now, err := s.Board(t.Context(), s.board.ID)
	if diff := cmp.Diff(s.board, now); err != nil || diff != "" || count(t, s.Store, "events") != n || other.Label != "Other" {
		t.Errorf("after the refusals: %v\n%s", err, diff)
	}
}
