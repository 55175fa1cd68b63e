package retest

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
	"boardproof/cmd/trial/internal/trials"
)

// The whole harness on a few boards: every source of uncertainty is one that
// the comparison knows, of all readings not many are called changed, and what was
// kept compares as what was measured. Readings of one board are not independent,
// so this shows what is wrong by far; 'make retest' shows the rest.
func TestFewUnchangedBoards(t *testing.T) {
	if testing.Short() {
		t.Skip("whole acceptances")
	}
	path := filepath.Join(t.TempDir(), "kept.jsonl")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	all, err := plan{trials.Plan{Trials: 2, PerBatch: 4, Seed: 4, Workers: 2, Progress: io.Discard}, 2.5, 4, 1.5, file}.measure(context.Background())
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	got := newTally()
	for i, s := range all {
		if !s.measured() || s.Recalibrated != (i%2 == 1) {
			t.Fatalf("board %d: measured %t, recalibrated %t", i, s.measured(), s.Recalibrated)
		}
		got.add(s)
		for _, r := range append(s.Before.Readings, s.After.Readings...) {
			for _, c := range r.Budget {
				if !change.Known(c.Source) {
					t.Errorf("%s: nobody knows whether %q is common to two runs", r.Quantity, c.Source)
				}
			}
		}
	}
	var sum counts
	for name, f := range got.figures {
		if !isCurve(name) {
			sum = sum.plus(f.both())
		}
	}
	if sum.tests < 80 || float64(sum.changed) > 0.15*float64(sum.tests) {
		t.Errorf("%d of %d unchanged readings are called changed", sum.changed, sum.tests)
	}
	if share := float64(sum.found) / float64(sum.tests); share < 0.6 || share > 0.97 {
		t.Errorf("%d of %d readings moved by three standard uncertainties are called changed", sum.found, sum.tests)
	}
	if b := got.boards.both(); b.tests != 2 || b.changed > 1 {
		t.Errorf("%d of %d boards have a real change", b.changed, b.tests)
	}
	var page, again strings.Builder
	got.print(&page)
	for line := range strings.Lines(page.String()) {
		if len([]rune(line)) > 101 {
			t.Errorf("%d columns: %q", len([]rune(line)), line)
		}
	}
	replayed := newTally()
	if err := readKept([]string{path}, replayed.add); err != nil {
		t.Fatal(err)
	}
	if replayed.print(&again); again.String() != page.String() {
		t.Errorf("kept:\n%s\nmeasured:\n%s", again.String(), page.String())
	}
	if err := readKept([]string{path, path}, func(sittings) {}); err == nil || !strings.Contains(err.Error(), "name files of different seeds") {
		t.Errorf("one board twice: %v", err)
	}
}

func TestReadKeptRefuses(t *testing.T) {
	broken := filepath.Join(t.TempDir(), "broken.jsonl")
	if err := os.WriteFile(broken, []byte(`{"seed":1,"bench":0,`), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{broken, "no/such/file"} {
		if err := readKept([]string{path}, func(sittings) {}); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestTally(t *testing.T) {
	side := func(thd float64, bound bool) change.Side {
		j := func(q string, v float64) verdict.Judged {
			return verdict.Judged{Reading: analysis.Reading{Quantity: q, Output: "A", Value: v, Unit: "%", K: 2, Uncertainty: 0.2,
				Budget: analysis.Budget{{Source: "noise recorded beside the signal", Kind: "A", Std: 0.1}}}}
		}
		corner := j(analysis.HighCorner, 5)
		corner.LowerBound = bound
		return change.Side{Readings: []verdict.Judged{j(analysis.THD, thd), j(analysis.THDN, 1), corner}}
	}
	got := newTally()
	got.add(sittings{Before: side(1, false), After: side(1.3, false)})                   // 2.1 standard uncertainties
	got.add(sittings{Before: side(1, false), After: side(1, false), Recalibrated: true}) // nothing
	got.add(sittings{Before: side(1, false), After: side(1.7, true), Bench: 1})          // 4.9, real
	got.add(sittings{Before: side(1, false)})                                            // refused
	if got, want := got.inShort(), "% called changed: same profile 66.67 of 3 readings, new profile 0.00 of 2; a real change in 33.33 of 3 boards; 100.00 % of 3 u found"; got != want {
		t.Errorf("in short: %s, want %s", got, want)
	}
	f := got.figures["thd"]
	if f.of(sameProfile) != (counts{2, 2, 2}) || f.of(newProfile) != (counts{1, 0, 1}) || got.figures["high corner"].both() != (counts{2, 0, 2}) {
		t.Errorf("thd %+v, %+v, corner %+v", f.of(sameProfile), f.of(newProfile), got.figures["high corner"].both())
	}
	if got.boards.of(sameProfile) != (counts{2, 1, 0}) || got.boards.of(newProfile) != (counts{1, 0, 0}) || got.untested["thd n"] != 3 || got.real["thd"] != 1 {
		t.Errorf("boards %+v, untested %v, real %v", got.boards, got.untested, got.real)
	}
}

// What is off is told from what scatters, by benches.
func TestJudge(t *testing.T) {
	of := func(benches, tests, changed int) *tally {
		got := newTally()
		for i := range benches {
			got.figure("gain").count(sameProfile, bench{1, i}, counts{tests: tests, changed: changed})
		}
		return got
	}
	for name, c := range map[string]struct {
		t   *tally
		bad string
	}{
		"9 %":          {of(100, 100, 9), "gain: 9.00 %"},
		"1 %":          {of(100, 100, 1), "gain: 1.00 %"},
		"5 %":          {of(100, 100, 5), ""},
		"9 % of few":   {of(1, 100, 9), ""},
		"all or none":  {func() *tally { t := of(92, 10, 0); addAll(t, 8); return t }(), ""},
		"8 % evenly":   {of(100, 100, 8), "gain: 8.00 %"},
		"no test made": {newTally(), ""},
	} {
		err := c.t.judge()
		if (err == nil) != (c.bad == "") || err != nil && !strings.Contains(err.Error(), c.bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
	boards := newTally()
	for i := range 100 {
		boards.boards.count(sameProfile, bench{1, i}, counts{tests: 10, changed: 1})
	}
	if err := boards.judge(); err == nil || !strings.Contains(err.Error(), "10.00 % of boards") {
		t.Errorf("a tenth of boards: %v", err)
	}
}

// addAll adds benches of which all ten readings are called changed: 8 of 100 benches are no
// more than what 5 % of independent ones may come to.
func addAll(t *tally, benches int) {
	for i := range benches {
		t.figure("gain").count(sameProfile, bench{2, i}, counts{tests: 10, changed: 10})
	}
}

// A line is moved in volts, and what adds to it in volts stays as it was.
func TestMoved(t *testing.T) {
	j := verdict.Judged{Reading: analysis.Reading{Quantity: analysis.HumHarmonic, Value: -80, Unit: "dBu", Budget: analysis.Budget{
		{Source: "scatter of the noise itself", Kind: "A", Std: 0.4}, {Source: "multimeter's accuracy", Kind: "B", Std: 0.05}}}}
	got := moved(j, analysis.DBFromRelative(1))
	if d := got.Value - (-80 + analysis.DB(2)); d > 1e-12 || d < -1e-12 || got.Budget[0].Std != 0.2 || got.Budget[1].Std != 0.05 {
		t.Errorf("%+v", got)
	}
	j.Quantity = analysis.Gain
	if got := moved(j, 0.3); got.Value != -79.7 || got.Budget[0].Std != 0.4 {
		t.Errorf("%+v", got)
	}
}
