package coverage

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/analysis/verdict"
	"boardproof/cmd/trial/internal/trials"
)

// The whole harness on a few boards: every quantity is there, and of all
// readings together about as many hold the truth as state it. Those of one
// board are not independent, so this shows a quantity that is wrong by far, no
// more; 'make coverage' shows the rest.
func TestFewBoardsHoldTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("whole acceptances")
	}
	all, err := plan{trials.Plan{Trials: 4, PerBatch: 4, Seed: 4, Workers: 2, Progress: io.Discard}, 2.5, 4}.measure(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	found := tallies{}
	inside, of, squares := 0, 0, 0.0
	for i, board := range all {
		if len(board) == 0 {
			t.Fatalf("board %d was not measured", i)
		}
		found.add(i, board)
	}
	for _, name := range order() {
		x := found[name]
		if x == nil || x.of == 0 {
			t.Errorf("no reading of %s was held against the truth", name)
			continue
		}
		inside, of = inside+x.inside, of+x.of
		squares += float64(len(x.z)) / (x.statedOverActual() * x.statedOverActual())
		if x.of >= 4 && x.statedOverActual() < 0.4 {
			t.Errorf("%s: stated over actual uncertainty is %.2f in %d readings", name, x.statedOverActual(), x.of)
		}
	}
	if share := float64(inside) / float64(of); share < 0.88 {
		t.Errorf("%d of %d intervals hold the truth", inside, of)
	}
	if ratio := math.Sqrt(float64(of) / squares); ratio < 0.7 || ratio > 1.5 {
		t.Errorf("stated over actual uncertainty is %.2f in all %d readings", ratio, of)
	}
}

func TestTally(t *testing.T) {
	x := tallies{}
	x.add(7, []seen{
		{name: "gain", value: 1, truth: 1.5, std: 0.5, expanded: 1},
		{name: "gain", value: 1, truth: -1, std: 0.5, expanded: 1},
		{name: "gain", value: 2, truth: 4, std: 1, expanded: 1.9},
		{name: "gain", value: 9, truth: 2, std: 1, expanded: 2},
		{name: "gain", value: 5, truth: 4, bound: true},
		{name: "gain", value: 5, truth: 6, bound: true},
	})
	g := x["gain"]
	if g.of != 4 || g.inside != 1 || g.over != 1 || g.bounds != 2 || g.boundsHeld != 1 {
		t.Errorf("%+v", g)
	}
	// z is -1, 4 and -2, and 7, which is gross.
	near(t, "stated over actual", g.statedOverActual(), math.Sqrt(3.0/21), 1e-12)
	near(t, "bias", g.bias(), 1.0/3, 1e-12)
	if len(g.gross) != 1 || !strings.HasPrefix(g.gross[0], "board 7: gain read as 9") {
		t.Errorf("gross: %q", g.gross)
	}
	if bad := x.outside(0.2, 0.3); len(bad) != 0 {
		t.Errorf("a quarter is not within 0.2 to 0.3: %q", bad)
	}
	if bad := x.outside(0.9, 1); len(bad) != 1 {
		t.Errorf("outside 0.9 to 1: %q", bad)
	}
	x.add(8, []seen{{name: "delay match", value: 1, truth: 1.5, std: 1, expanded: 2}})
	if got, want := x.inShort(), "40.00 % of 5 intervals hold the truth, gain 25.00, delay match 100.00; stated over actual 0.38 (gain) to 2.00 (delay match)"; got != want {
		t.Errorf("in short: %s, want %s", got, want)
	}
	var page strings.Builder
	x.print(&page)
	for line := range strings.Lines(page.String()) {
		if len([]rune(line)) > 100 {
			t.Errorf("%d columns: %q", len(line), line)
		}
	}
}

// A limit at the truth: values that scatter as stated give the four outcomes
// as often as the normal distribution says, erfc(√2)/2 beyond each end.
func TestOutcomesAtTheLimit(t *testing.T) {
	near(t, "closed form in percent", closedForm[0], 100*math.Erfc(math.Sqrt2)/2, 1e-3)
	rng := rand.New(rand.NewPCG(1, 2))
	boards := make([][]seen, 40000)
	for i := range boards {
		boards[i] = []seen{{name: "gain", value: 3 + 0.1*rng.NormFloat64(), truth: 3, std: 0.1, expanded: 0.2}}
	}
	got := judge(boards)["gain"]
	for i, o := range fourOutcomes {
		p := closedForm[i] / 100
		if off := float64(got[o])/40000 - p; math.Abs(off) > 4*math.Sqrt(p*(1-p)/40000) {
			t.Errorf("%s in %.2f %%, want %.2f %%", o, 100*float64(got[o])/40000, closedForm[i])
		}
	}
	if got[verdict.NotMeasured] != 0 {
		t.Errorf("%d were not judged", got[verdict.NotMeasured])
	}
	var page strings.Builder
	printOutcomes(&page, judge(boards))
	if !strings.Contains(page.String(), "closed form") || !strings.Contains(page.String(), "40000") {
		t.Errorf("printed:\n%s", page.String())
	}
}

// A pure delay is its own match, inverted or not; the definition is that of
// analysis.
func TestStraightDelay(t *testing.T) {
	const seconds = 4e-6
	straight := func(f float64) float64 { return -2 * math.Pi * f * seconds }
	near(t, "delay in s", delayOfPhase(straight), seconds, 1e-12)
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.8g, want %.8g within %.2g", what, got, want, within)
	}
}
