package main

import (
	"context"
	"io"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
)

// The whole harness on a few boards: every source of uncertainty is one that
// the comparison knows, and of all readings not many are called changed. Those
// of one board are not independent, so this shows what is wrong by far; 'make
// retest' shows the rest.
func TestFewUnchangedBoards(t *testing.T) {
	all, err := plan{boards: 2, seed: 4, sweepS: 2.5, silenceS: 4, toneS: 1.5, workers: 2, progress: io.Discard}.measure(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	got := newTally()
	for i, r := range all {
		if !r.measured || r.recalibrated != (i%2 == 1) {
			t.Fatalf("board %d: measured %t, recalibrated %t", i, r.measured, r.recalibrated)
		}
		got.add(r)
		for _, row := range r.Rows {
			for _, c := range append(row.Before.Budget, row.After.Budget...) {
				if !change.Known(c.Source) {
					t.Errorf("%s: nobody knows whether %q is common to two runs", row.After.Quantity, c.Source)
				}
			}
		}
	}
	var sum counts
	for name, c := range got.figures {
		if !isCurve(name) {
			sum.tests, sum.changed = sum.tests+c[0].tests+c[1].tests, sum.changed+c[0].changed+c[1].changed
		}
	}
	if sum.tests < 80 || float64(sum.changed) > 0.15*float64(sum.tests) {
		t.Errorf("%d of %d unchanged readings are called changed", sum.changed, sum.tests)
	}
	if b := pairOf(got.of).both(); b.tests != 2 || b.changed > 1 {
		t.Errorf("%d of %d boards have a real change", b.changed, b.tests)
	}
	var page strings.Builder
	got.print(&page)
	for line := range strings.Lines(page.String()) {
		if len([]rune(line)) > 100 {
			t.Errorf("%d columns: %q", len([]rune(line)), line)
		}
	}
}

func TestTally(t *testing.T) {
	row := func(p float64, bound string, o change.Outcome) change.Row {
		return change.Row{After: verdict.Judged{Reading: analysis.Reading{Quantity: analysis.Gain}}, P: &p, Bound: bound, Outcome: o}
	}
	got := newTally()
	got.add(retested{measured: true, Comparison: change.Comparison{Rows: []change.Row{row(0.01, "", change.Maybe), row(0.5, "", change.Unchanged), row(0.01, "at least", change.Real)}}})
	got.add(retested{measured: true, recalibrated: true, Comparison: change.Comparison{Rows: []change.Row{row(0.2, "", change.Unchanged)}}})
	got.add(retested{})
	if g := got.figures["gain"]; g[sameProfile] != (counts{2, 1}) || g[newProfile] != (counts{1, 0}) || got.bounds != (counts{1, 1}) ||
		got.of[sameProfile] != (counts{1, 1}) || got.of[newProfile] != (counts{1, 0}) {
		t.Errorf("%+v, bounds %+v, boards %+v", g, got.bounds, got.of)
	}
	if got.judge() != nil {
		t.Error("three readings judge nothing")
	}
	got.figures["gain"][0] = counts{1000, 90}
	if err := got.judge(); err == nil || !strings.Contains(err.Error(), "gain: 8.99 %") {
		t.Errorf("9 %%: %v", err)
	}
	got.figures["gain"][0] = counts{1000, 10}
	if got.judge() == nil {
		t.Error("1 % is fat")
	}
}
