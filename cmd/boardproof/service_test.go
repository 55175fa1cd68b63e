package main

import (
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func TestWhen(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 30, 0, 0, time.Local)
	w := &workshop.Workshop{Now: func() time.Time { return now }}
	for _, c := range []struct {
		text string
		kind db.EventKind
		want string
	}{
		{"2026-11-20", db.CameIn, "2026-11-20 00:00"},
		{"2026-11-20", db.WentOut, "2026-11-20 23:59"},
		{"2026-11-20", db.WorkDone, "2026-11-20 12:00"},
		{"2026-11-20 14:05", db.WentOut, "2026-11-20 14:05"},
		{"2026-11-25", db.WentOut, "2026-11-25 09:30"},
	} {
		if got, err := when(w, c.text, c.kind); err != nil || local(got) != c.want {
			t.Errorf("%s, %s: %s, %v, want %s", c.text, c.kind, local(got), err, c.want)
		}
	}
	if got, err := when(w, "", db.CameIn); err != nil || !got.IsZero() {
		t.Errorf("no date: %v, %v", got, err)
	}
}

func TestEditOfChain(t *testing.T) {
	was := []db.Device{{Name: "One", Kind: "fuzz"}, {Name: "Two", Kind: "buffer"}, {Name: "Three", Kind: "delay"}}
	for name, c := range map[string]struct {
		f    editFlags
		want string
	}{
		"nothing":       {editFlags{}, "One Two Three"},
		"remove":        {editFlags{remove: []string{"two"}}, "One Three"},
		"replace":       {editFlags{replace: []string{"ONE=Four,wah,9"}}, "Four Two Three"},
		"add":           {editFlags{add: []string{"Four,wah"}}, "One Two Three Four"},
		"add at places": {editFlags{add: []string{"1:Four,wah", "2: Five,wah"}}, "Four Five One Two Three"},
		"a colon":       {editFlags{add: []string{"Mk: two,wah"}}, "One Two Three Mk: two"},
		"move down":     {editFlags{move: []string{"One=3"}}, "Two Three One"},
		"move up":       {editFlags{move: []string{"three=1"}}, "Three One Two"},
		"all":           {editFlags{remove: []string{"One"}, add: []string{"One,fuzz"}, move: []string{"One=1"}}, "One Two Three"},
	} {
		chain, err := c.f.chain(was)
		var names []string
		for _, d := range chain {
			names = append(names, d.Name)
		}
		if got := strings.Join(names, " "); err != nil || got != c.want {
			t.Errorf("%s: %q, %v, want %q", name, got, err, c.want)
		}
	}
	if !slices.Equal(was, []db.Device{{Name: "One", Kind: "fuzz"}, {Name: "Two", Kind: "buffer"}, {Name: "Three", Kind: "delay"}}) {
		t.Errorf("the chain that was there is now %v", was)
	}
	for name, f := range map[string]editFlags{
		"no such device": {remove: []string{"Four"}}, "place of none": {move: []string{"One"}}, "place 0": {move: []string{"One=0"}},
		"no kind": {replace: []string{"One=Four"}}, "beyond": {add: []string{"5:Four,wah"}}, "no name": {replace: []string{"=Four,wah"}},
	} {
		if chain, err := f.chain(was); err == nil {
			t.Errorf("%s gave %v", name, chain)
		}
	}
}

func TestDaysOfFinding(t *testing.T) {
	var q db.BoardQuery
	if err := readQuery(&q, "Passed", "2026-11-20", "2026-11-25"); err != nil || local(q.From) != "2026-11-20 00:00" || local(q.To) != "2026-11-26 00:00" || len(q.Verdicts) != 2 {
		t.Errorf("%+v, %v", q, err)
	}
}
