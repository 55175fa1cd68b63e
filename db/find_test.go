package db

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/verdict"
)

// shelf has four boards: one that passed, one that failed last, one of a run without a plan,
// one that was never measured.
func shelf(t *testing.T) sitting {
	s := sit(t) // Night Train, 0042
	add := func(label, owner, serial string, chain ...Device) Board {
		b, err := s.AddBoard(t.Context(), Board{Label: label, Owner: owner, Serial: serial, Outputs: []string{"A"}, Chain: chain})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	s.runAt(t, 5, func(r *Run) { r.Readings[1].Limit, r.Readings[1].Verdict = nil, "" })
	failed := s.runAt(t, 10, func(r *Run) { r.Readings[0].Verdict = verdict.Fail })
	s.runAt(t, 20, func(r *Run) { r.Recomputes, r.Readings = failed.ID, r.Readings[:1] })
	tin := add("Tin_Heron", "Ärge Example", "LF-7", Device{Name: "Reed", Kind: "Tremolo"})
	s.runAt(t, 12, func(r *Run) { r.BoardID, r.PlanID, r.Takes = tin.ID, 0, nil })
	add("Tin Whistle", "Bo", "lf-70", Device{Name: "50%", Kind: "volume"})
	return s
}

func TestFindBoards(t *testing.T) {
	s := shelf(t)
	at := func(days int) time.Time { return noon.AddDate(0, 0, days) }
	for _, c := range []struct {
		q    BoardQuery
		want string
	}{
		{BoardQuery{}, "Night Train, Tin Whistle, Tin_Heron"},
		{BoardQuery{Name: "TIN"}, "Tin Whistle, Tin_Heron"},
		{BoardQuery{Name: "n_h"}, "Tin_Heron"},
		{BoardQuery{Name: "lf-7"}, "Tin Whistle, Tin_Heron"},
		{BoardQuery{Name: "ärge"}, "Tin_Heron"},
		{BoardQuery{Owner: "example"}, "Night Train, Tin_Heron"},
		{BoardQuery{Owner: "Tin"}, ""},
		{BoardQuery{Serial: "F-70"}, "Tin Whistle"},
		{BoardQuery{Device: "fuzz"}, "Night Train"},
		{BoardQuery{Device: "reed, trem"}, "Tin_Heron"},
		{BoardQuery{Device: "0%"}, "Tin Whistle"},
		{BoardQuery{Device: "%"}, "Tin Whistle"},
		{BoardQuery{Verdicts: []verdict.Outcome{verdict.Fail}}, "Night Train"},
		{BoardQuery{Verdicts: []verdict.Outcome{verdict.Pass}}, ""},
		{BoardQuery{Verdicts: []verdict.Outcome{""}}, "Tin_Heron"},
		{BoardQuery{NoRun: true}, "Tin Whistle"},
		{BoardQuery{From: at(10)}, "Night Train, Tin_Heron"},
		{BoardQuery{From: at(11)}, "Tin_Heron"},
		{BoardQuery{To: at(12)}, "Night Train"},
		{BoardQuery{From: at(10), To: at(10)}, ""},
		{BoardQuery{Name: "tin", From: at(1)}, "Tin_Heron"},
	} {
		found, err := s.FindBoards(t.Context(), c.q)
		var labels []string
		for _, b := range found {
			labels = append(labels, b.Label)
		}
		if got := strings.Join(labels, ", "); err != nil || got != c.want {
			t.Errorf("%+v: %q, %v, want %q", c.q, got, err, c.want)
		}
	}
	found, err := s.FindBoards(t.Context(), BoardQuery{Name: "night"})
	if err != nil || len(found) != 1 || found[0].Latest == nil || !found[0].Latest.Finished.Equal(at(10)) || found[0].Latest.Verdict != verdict.Fail || !found[0].Latest.Simulated {
		t.Errorf("the latest run: %+v, %v", found, err)
	}
}

func TestFindBoardBySerial(t *testing.T) {
	s := shelf(t)
	addBoard(t, s.Store, "LF-70x")
	for name, want := range map[string]string{"LF-7": "Tin_Heron", "lf-70": "Tin Whistle", " lf-7 ": "Tin_Heron", "LF-70x": "LF-70x"} {
		if b, err := s.FindBoard(t.Context(), name); err != nil || b.Label != want || want == "Tin_Heron" && len(b.Chain) != 1 {
			t.Errorf("%q: %q, %v, want %q", name, b.Label, err, want)
		}
	}
	// Two boards of one serial, and a serial's beginning.
	if _, err := s.FindBoard(t.Context(), "0042"); !errors.Is(err, ErrAmbiguous) || !strings.Contains(err.Error(), `"LF-70x" or "Night Train"`) {
		t.Errorf("one serial of two boards: %v", err)
	}
	if _, err := s.FindBoard(t.Context(), "004"); !errors.Is(err, ErrAmbiguous) {
		t.Errorf("the beginning of two serials: %v", err)
	}
}

func TestRunByABoardsName(t *testing.T) {
	s := shelf(t)
	runs, err := s.Runs(t.Context(), s.board.ID)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"night": fmt.Sprintf(`"night" is board Night Train, not a run: its latest run is %s, and 'boardproof runs "Night Train"' lists all`, runs[1].ID),
		"lf-70": `"lf-70" is board Tin Whistle, which has no run yet: 'boardproof accept "Tin Whistle"'`,
		"zebra": `run "zebra" is not in the store`,
	} {
		if _, err := s.FindRun(t.Context(), name); !errors.Is(err, ErrNotFound) || err.Error() != want {
			t.Errorf("%q: error %v, want %s", name, err, want)
		}
	}
}

func TestSeries(t *testing.T) {
	s := shelf(t)
	for _, c := range []struct {
		q    SeriesQuery
		want []float64 // days of the runs
	}{
		{SeriesQuery{BoardID: s.board.ID, Quantity: "level_match"}, []float64{5, 10}},
		{SeriesQuery{BoardID: s.board.ID, Quantity: "level_match", Output: "A"}, nil},
		{SeriesQuery{BoardID: s.board.ID, Quantity: "gain"}, nil}, // absent
		{SeriesQuery{Bench: "bench one", Quantity: "level_match"}, []float64{5, 10, 12}},
		{SeriesQuery{Bench: "bench one", Quantity: "level_match", Runs: 2}, []float64{10, 12}},
		{SeriesQuery{Bench: "bench two", Quantity: "level_match"}, nil},
	} {
		points, err := s.Series(t.Context(), c.q)
		if err != nil || len(points) != len(c.want) {
			t.Fatalf("%+v: %d points, %v, want %v", c.q, len(points), err, c.want)
		}
		for i, p := range points {
			if want := noon.Add(time.Duration(c.want[i]*24)*time.Hour - time.Minute); !p.At.Equal(want) {
				t.Errorf("%+v: point %d is of %v, want %v", c.q, i, p.At, want)
			}
		}
	}
	whole, err := s.Series(t.Context(), SeriesQuery{BoardID: s.board.ID, Quantity: "level_match", Budget: true})
	if err != nil {
		t.Fatal(err)
	}
	run, err := s.FindRun(t.Context(), whole[0].RunID)
	if err != nil || whole[0].Board != "Night Train" || whole[0].ProfileID != s.profile.ID || whole[0].Reading.Value != run.Readings[0].Value ||
		len(whole[0].Reading.Budget) != 2 || *whole[0].Reading.Limit.Max != 0.25 || whole[0].Reading.Uncertainty != 0.004 {
		t.Errorf("the first point: %+v, %v", whole[0], err)
	}
	if plain, err := s.Series(t.Context(), SeriesQuery{BoardID: s.board.ID, Quantity: "level_match"}); err != nil || plain[0].Reading.Budget != nil {
		t.Errorf("a budget that was not asked for: %+v, %v", plain, err)
	}
}

// That finding is quick is a matter of the indexes.
func TestFindingUsesIndexes(t *testing.T) {
	s := newStore(t)
	plan := explain(t, s, strings.NewReplacer("$1", "'%'", "$2", "'%'", "$3", "'%'", "$4", "'%'", "$5", "''", "$6", "''").Replace(sqlFindBoards))
	if strings.Count(plan, "SCAN") != 1 || !strings.Contains(plan, "SCAN b USING INDEX") || strings.Count(plan, "TEMP B-TREE") > 0 {
		t.Errorf("finding boards is carried out as\n%s", plan)
	}
	for _, query := range []string{sqlSeriesOfBoard, sqlSeriesOfBench} {
		plan := explain(t, s, strings.NewReplacer("$1", "1", "$2", "'a'", "$3", "5", "$4", "'q'", "$5", "''").Replace(query))
		if strings.Contains(plan, "SCAN runs") || strings.Contains(plan, "SCAN g") || strings.Contains(plan, "SCAN b") {
			t.Errorf("a series is carried out as\n%s", plan)
		}
	}
	for _, query := range []string{sqlBoardsBySerial, sqlSerialsFrom, sqlEventsFrom} {
		if plan := explain(t, s, query); strings.Contains(plan, "SCAN") {
			t.Errorf("%s\nis carried out as\n%s", query, plan)
		}
	}
}

func TestManyAtOnce(t *testing.T) {
	s := sit(t)
	boards, err := s.AddBoards(t.Context(), []Board{{Label: "One", Outputs: []string{"A"}, Created: noon}, {Label: "Two", Outputs: []string{"A"}, Created: noon}})
	if err != nil || len(boards) != 2 || boards[0].UID == boards[1].UID {
		t.Fatalf("%+v, %v", boards, err)
	}
	a, b := s.run(), s.run()
	b.Finished = b.Finished.AddDate(0, 0, 1)
	kept, err := s.SaveRuns(t.Context(), []Run{a, b})
	if err != nil || len(kept) != 2 || kept[0].ID != "r20261125-0001" || kept[1].ID != "r20261126-0001" || kept[0].Digest == "" {
		t.Fatalf("%+v, %v", kept, err)
	}
	b.PlanID = 99
	if _, err := s.SaveRuns(t.Context(), []Run{a, b}); !errors.Is(err, ErrNotFound) || count(t, s.Store, "runs") != 2 {
		t.Errorf("a bad run among good ones: %v, and %d runs are kept", err, count(t, s.Store, "runs"))
	}
	if _, err := s.AddBoards(t.Context(), []Board{{Label: "Three", Outputs: []string{"A"}}, {Label: "one", Outputs: []string{"A"}}}); err == nil || count(t, s.Store, "boards") != 3 {
		t.Errorf("a label that is taken: %v, and %d boards are kept", err, count(t, s.Store, "boards"))
	}
}
