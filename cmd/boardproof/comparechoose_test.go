package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/db"
)

// A simulated run and a real one are never compared; by themselves the real
// ones are chosen, and it is said that others were left aside.
func TestRealAndSimulatedAreNeverCompared(t *testing.T) {
	s := newSession(t)
	ctx := context.Background()
	store, err := db.Open(ctx, s.store)
	if err != nil {
		t.Fatal(err)
	}
	board, err := store.AddBoard(ctx, db.Board{Label: "Tin Heron", Outputs: []string{"A"}})
	if err != nil {
		t.Fatal(err)
	}
	plan, err := store.SavePlan(ctx, board.ID, []byte(tonePlan))
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for i, simulated := range []bool{true, false, false, true} {
		r := db.Run{BoardID: board.ID, Bench: "main", PlanID: plan.ID, Simulated: simulated, MethodVersion: analysis.MethodVersion,
			Started: s.now.Add(time.Duration(i) * time.Hour), Finished: s.now.Add(time.Duration(i) * time.Hour),
			Readings: []verdict.Judged{{Step: "tone", Verdict: verdict.Pass, Reading: analysis.Reading{Quantity: analysis.Gain, Output: "A", FrequencyHz: 1000, Value: 0.1 * float64(i), Unit: "dB", Uncertainty: 0.01, K: 2}}}}
		if r, err = store.SaveRun(ctx, r); err != nil {
			t.Fatal(err)
		}
		ids = append(ids, r.ID)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	s.must(exitWrongUse, "compare", "tin", "--now", ids[1])
	s.must(exitPassed, "compare", "tin")
	said := strings.Join(strings.Fields(s.out), " ")
	for _, want := range []string{"then run " + ids[1], "now run " + ids[2], "left aside: 2 simulated runs of this board", "+0.100 dB 0.015 REAL", "gain at output A moved by +0.10 dB"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not in:\n%s", want, s.out)
		}
	}
	if strings.Contains(s.out, "SIMULATED") {
		t.Errorf("two real runs:\n%s", s.out)
	}
	s.must(exitWrongUse, "compare", "tin", "--then", ids[0], "--now", ids[2])
	if !strings.Contains(s.err, "a simulation says nothing of a real board") || s.out != "" {
		t.Errorf("said %q, printed %q", s.err, s.out)
	}
	s.must(exitPassed, "compare", "tin", "--then", ids[0], "--now", ids[3])
	if !strings.Contains(s.out, "SIMULATED") {
		t.Errorf("two simulated runs:\n%s", s.out)
	}
}

func TestDelivered(t *testing.T) {
	run := func(id string, plan int64, v verdict.Outcome, corrects string) db.Run {
		return db.Run{ID: id, PlanID: plan, Verdict: v, Corrects: corrects}
	}
	got, _ := db.FirstPassed([]db.Run{run("a", 0, "", ""), run("b", 1, verdict.Fail, ""), run("c", 1, verdict.Pass, ""), run("d", 1, verdict.ConditionalPass, "c"), run("e", 1, verdict.Pass, "")})
	if got.ID != "d" {
		t.Errorf("%+v", got)
	}
	if got, ok := db.FirstPassed([]db.Run{run("b", 1, verdict.Fail, "")}); ok {
		t.Errorf("%+v", got)
	}
}

// A board that went out twice is held against the first time, or, where it is
// asked for, against the last.
func TestDeliveredTwice(t *testing.T) {
	s := newSession(t)
	ctx := context.Background()
	store, err := db.Open(ctx, s.store)
	if err != nil {
		t.Fatal(err)
	}
	board, err := store.AddBoard(ctx, db.Board{Label: "Tin Heron", Outputs: []string{"A"}})
	if err != nil {
		t.Fatal(err)
	}
	at := func(hours int) time.Time { return s.now.Add(time.Duration(hours) * time.Hour) }
	var ids []string
	for i := range 3 {
		r, err := store.SaveRun(ctx, db.Run{BoardID: board.ID, Bench: "main", MethodVersion: "1", Started: at(10 * i), Finished: at(10 * i)})
		if err != nil {
			t.Fatal(err)
		}
		ids = append(ids, r.ID)
		if i == 2 {
			break
		}
		out := db.Event{BoardID: board.ID, Kind: db.WentOut, RunID: r.ID, Happened: at(10*i + 1)}
		in := db.Event{BoardID: board.ID, Kind: db.CameIn, Happened: at(10*i + 2)}
		for _, e := range []db.Event{out, in} {
			if _, err := store.AddEvent(ctx, e); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, "as delivered: run " + ids[0] + ", with which it went out the first time; '--delivery last' takes run " + ids[1]},
		{[]string{"--delivery", "first"}, "then run " + ids[0]},
		{[]string{"--delivery", "last"}, "as delivered: run " + ids[1] + ", with which it went out the last time"},
	} {
		s.must(exitPassed, append([]string{"compare", "tin"}, c.args...)...)
		if said := strings.Join(strings.Fields(s.out), " "); !strings.Contains(said, c.says) || !strings.Contains(said, "now run "+ids[2]) {
			t.Errorf("%q: %q is not in:\n%s", c.args, c.says, s.out)
		}
	}
	for says, args := range map[string][]string{
		`--delivery "second"`:                          {"--delivery", "second"},
		"--then and --delivery":                        {"--delivery", "last", "--then", ids[0]},
		"no run since it was delivered with " + ids[1]: {"--delivery", "last", "--now", ids[1]},
	} {
		s.must(exitWrongUse, append([]string{"compare", "tin"}, args...)...)
		if !strings.Contains(s.err, says) || s.out != "" {
			t.Errorf("%q: said %q, printed %q", args, s.err, s.out)
		}
	}
}
