package hunts

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/randombench"
	"boardproof/cmd/trial/internal/trials"
	"boardproof/testsignals"
)

// recordedDB is the RMS of what is recorded while nothing is played, over the
// board's hiss, at the louder input.
func recordedDB(t *testing.T, b *board) float64 {
	sim, err := simboard.New(b.config)
	if err != nil {
		t.Fatal(err)
	}
	nothing := &testsignals.Signal{Samples: make([]float64, randombench.RateHz), Spec: testsignals.New(testsignals.Silence, randombench.RateHz, -24, 1)}
	take, err := sim.Record(context.Background(), capture.Request{Signal: nothing, Outputs: []int{1}, Inputs: []int{1, 2}})
	if err != nil {
		t.Fatal(err)
	}
	most := math.Inf(-1)
	for i, x := range take.Samples {
		power := 0.0
		for _, v := range x {
			power += v * v / float64(len(x))
		}
		volts := math.Sqrt(power) * analysis.VoltsFromDBu(sim.Truth().InputFullScaleDBu(i+1)) * math.Sqrt2
		power = volts * volts
		for _, tone := range sim.Truth().RecordedTones(capture.ToBoard, i+1) {
			if tone.FrequencyHz > 20e3 { // not a part of the level
				power -= tone.VoltsRMS * tone.VoltsRMS
			}
		}
		most = math.Max(most, 10*math.Log10(power/(b.hissVolts[i]*b.hissVolts[i])))
	}
	return most
}

// What is recorded of each cause is at the level that was asked for: in the
// samples, where the hiss beside it is too low to matter.
func TestDrawnAtTheirLevels(t *testing.T) {
	if testing.Short() {
		t.Skip("records each cause")
	}
	for seed, name := range drawable {
		rng := rand.New(rand.NewPCG(uint64(seed), 1))
		b, err := drawBoard(rng, simboard.Random(rng), []string{name}, 50)
		if err != nil {
			t.Fatal(err)
		}
		// The inputs' response takes up to 0.2 dB off lines near either end.
		if got := recordedDB(t, b); math.Abs(got-50) > 0.3 || b.causes[0].name != name {
			t.Errorf("%s (%s) at 50 dB: recorded %.3f dB", name, b.causes[0].where, got)
		}
	}
}

// A second cause is 0 to 12 dB under the first: together they are at most 3 dB
// louder than one, where their lines do not add up, and 6 where they do.
func TestTwoCauses(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 5))
		order := rng.Perm(len(drawable))
		names := []string{drawable[order[0]], drawable[order[1]]}
		b, err := drawBoard(rng, simboard.Random(rng), names, 30)
		if err != nil {
			t.Fatal(err)
		}
		if b.aboveDB < 27 || b.aboveDB > 36.1 || len(b.causes) != 2 {
			t.Errorf("%q at 30 dB: %.2f dB, %d causes", names, b.aboveDB, len(b.causes))
		}
	}
}

// With its lines all gone there is no level, and a drawn ground loop is gone
// when what is at its ends is unplugged.
func TestLoopOpens(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 5))
	b, err := drawBoard(rng, simboard.Random(rng), []string{hunt.GroundLoop}, 40)
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simboard.New(b.config)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := sim.Truth().Under(capture.Condition{Change: capture.OutputUnplugged, Subject: "A"}, capture.Condition{Change: capture.OutputUnplugged, Subject: "B"})
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range []string{"A", "B"} {
		if v := truth.HumTotalVolts(o, 200); v != 0 {
			t.Errorf("output %s still hums with %g V", o, v)
		}
	}
}

// A few whole hunts: each ends, within ten conditions, with every cause
// weighed, and what they name is right more often than by chance, which would
// be in one of ten; 'make hunts' shows the rest.
func TestFewHunts(t *testing.T) {
	if testing.Short() {
		t.Skip("whole hunts")
	}
	all, err := plan{Plan: trials.Plan{Trials: 4, PerBatch: 8, Seed: 3, Workers: 2, Progress: io.Discard}, silenceS: 3}.hunt(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	right := 0
	for i, o := range all {
		if o == nil || o.conditions < 1 || o.conditions > mostConditions || len(o.weighing.Causes) != len(hunt.Causes()) {
			t.Fatalf("hunt %d: %+v", i, o)
		}
		if o.right() {
			right++
		}
	}
	if right < 2 {
		t.Errorf("right in %d of %d", right, len(all))
	}
}

func ended(decided bool, first string, score float64, second string, truth ...string) outcome {
	o := outcome{aboveDB: 25, conditions: 2, weighing: hunt.Weighing{Decided: decided, Causes: []hunt.Weighed{{Cause: first, Score: score}, {Cause: second}}}}
	for _, name := range truth {
		o.causes = append(o.causes, cause{name: name})
	}
	return o
}

func TestCounts(t *testing.T) {
	var c count
	for _, o := range []outcome{
		ended(true, hunt.Ripple, 0.95, hunt.Dimmer, hunt.Ripple),
		ended(true, hunt.Dimmer, 0.95, hunt.Ripple, hunt.Ripple),
		ended(false, hunt.Dimmer, 0.6, hunt.Magnetic, hunt.Ripple),
		ended(false, hunt.Ripple, 0.6, hunt.Magnetic, hunt.Magnetic, hunt.Ripple),
		ended(true, hunt.HissOnly, 0.99, hunt.Magnetic),
	} {
		c.add(&o)
	}
	want := count{of: 5, right: 3, inTwo: 4, undecidedRightly: 1, undecidedThoughRight: 1, sureAndWrong: 1, conditions: 10}
	if c != want {
		t.Errorf("%+v, want %+v", c, want)
	}
}

// The table holds each hunt once by cause and once by level, in 100 columns.
func TestTable(t *testing.T) {
	var page strings.Builder
	two := []outcome{ended(true, hunt.Ripple, 0.95, hunt.Dimmer, hunt.Ripple), ended(true, hunt.Dimmer, 0.95, hunt.Ripple, hunt.USB, hunt.Dimmer)}
	table(&page, two)
	if got, want := inShort(append(two, ended(true, hunt.Dimmer, 0.95, hunt.Ripple, hunt.Ripple))), "one cause: first right 50.0 % of 2, sure and wrong 50.0 %, 2.0 conditions; two causes: first right 100.0 % of 1, sure and wrong 0.0 %, 2.0 conditions"; got != want {
		t.Errorf("in short: %s, want %s", got, want)
	}
	lines := slices.Collect(strings.Lines(page.String()))
	for _, l := range lines {
		if len([]rune(l)) > 100 {
			t.Errorf("%d columns: %q", len([]rune(l)), l)
		}
	}
	for _, want := range []string{"  supply ripple", "  clock or USB lines of the laptop", "  20 to 40 dB", "  all"} {
		if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(l, want+" ") }) {
			t.Errorf("no row %q in\n%s", want, page.String())
		}
	}
}

// The ready boards hum for one known reason each, and nobody has told of their
// devices.
func TestReadyBoardsAreHuntedRight(t *testing.T) {
	if testing.Short() {
		t.Skip("whole hunts")
	}
	for name, cause := range map[string]string{
		"ground-loop": hunt.GroundLoop, "supply-ripple": hunt.Ripple, "dimmer": hunt.Dimmer, "open-shield": hunt.Electric,
		"stray-field": hunt.Magnetic, "whine": hunt.Beat, "laptop": hunt.USB,
	} {
		config, err := simboard.Ready(name)
		if err != nil {
			t.Fatal(err)
		}
		b := &board{config: config, can: hunt.Board{Outputs: []string{"A", "B"}, Battery: true, LaptopBattery: true, Isolator: true}}
		w, n, err := b.lead(t.Context(), nil, 3)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		t.Logf("%s, %d conditions: %s", name, n, w.Summary)
		if w.Causes[0].Cause != cause {
			t.Errorf("%s: %s", name, w.Summary)
		}
	}
}
