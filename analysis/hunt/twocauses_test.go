package hunt_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis/hunt"
)

// The lines of two causes, in volts by harmonic: what an earth loop brings, and
// the sawtooth of twice the mains that a rectifier leaves.
var (
	loopLines   = map[float64]float64{1: 1e-3, 3: 4e-4, 5: 2e-4, 7: 1e-4, 9: 5e-5, 11: 3e-5}
	rippleLines = map[float64]float64{2: 4e-4, 4: 2e-4, 6: 1.3e-4, 8: 1e-4, 10: 8e-5}
)

// hum is a reading of an output under a condition in which lines and tones are
// all that there is, over lines of 0.1 µV that may be anybody's.
func hum(output string, c hunt.Condition, tones map[float64]float64, lines ...map[float64]float64) hunt.Reading {
	sum := map[float64]float64{}
	for _, l := range lines {
		maps.Copy(sum, l)
	}
	r := combReading(50.01, 1e-7, sum, tones)
	r.Output, r.Condition = output, c
	return r
}

func scaled(lines map[float64]float64, by float64) map[float64]float64 {
	out := map[float64]float64{}
	for n, v := range lines {
		out[n] = v * by
	}
	return out
}

func present(w hunt.Weighing) []string {
	var out []string
	for _, c := range w.Causes {
		if c.Present > 0.5 {
			out = append(out, c.Cause)
		}
	}
	slices.Sort(out)
	return out
}

// What a condition takes away came through what it opened: of a loop at B and
// ripple at both, unplugging B leaves the even lines, and a battery the odd ones.
func TestTwoCausesAreBothNamed(t *testing.T) {
	unplugged, battery := hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}, hunt.Condition{Change: hunt.OnBattery}
	isolated := hunt.Condition{Change: hunt.OutputIsolated, Subject: "B"}
	r := []hunt.Reading{
		hum("A", hunt.AsFound, nil, rippleLines), hum("B", hunt.AsFound, nil, loopLines, rippleLines),
		hum("A", unplugged, nil, rippleLines), hum("B", unplugged, nil, rippleLines),
		hum("A", battery, nil), hum("B", battery, nil, loopLines),
		hum("A", isolated, nil, rippleLines), hum("B", isolated, nil, scaled(loopLines, 0.01), rippleLines),
	}
	w := hunt.Weigh(wholeBoard, r)
	if got := present(w); !slices.Equal(got, []string{hunt.GroundLoop, hunt.Ripple}) || w.Causes[0].Cause != hunt.GroundLoop {
		t.Errorf("there are %v: %s", got, w.Summary)
	}
	if f := hunt.Find(wholeBoard, r); !strings.Contains(f.Text, "ripple") {
		t.Errorf("found: %s", f.Text)
	}
}

// A whine beside a hum has a cause of its own.
func TestAWhineBesideALoopIsNamedToo(t *testing.T) {
	unplugged, off := hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}, hunt.Condition{Change: hunt.SupplyOff, Subject: "delay"}
	whine := map[float64]float64{3170: 3e-4}
	r := []hunt.Reading{
		hum("A", hunt.AsFound, whine), hum("B", hunt.AsFound, whine, loopLines),
		hum("A", unplugged, whine), hum("B", unplugged, whine),
		hum("A", off, nil), hum("B", off, nil, loopLines),
	}
	if got := present(hunt.Weigh(wholeBoard, r)); !slices.Equal(got, []string{hunt.Converter, hunt.GroundLoop}) {
		t.Errorf("there are %v", got)
	}
}

// Where two changes cure a loop, what either leaves is weaker than at the
// innocent output, and is no second cause's.
func TestACuredLoopLeavesNoSecondCause(t *testing.T) {
	unplugged, isolated := hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}, hunt.Condition{Change: hunt.OutputIsolated, Subject: "B"}
	trace := map[float64]float64{1: 5e-6, 3: 1e-6, 5: 1e-6}
	r := []hunt.Reading{
		hum("A", hunt.AsFound, nil, trace), hum("B", hunt.AsFound, nil, loopLines),
		hum("A", unplugged, nil, trace), hum("B", unplugged, nil, scaled(trace, 0.8)),
		hum("A", isolated, nil, trace), hum("B", isolated, nil, scaled(trace, 0.9)),
	}
	f := hunt.Find(wholeBoard, r)
	if got := present(*f.Weighing); !f.Decided || !slices.Equal(got, []string{hunt.GroundLoop}) || strings.Contains(f.Text, "besides") || !strings.Contains(f.Text, "cures it") {
		t.Errorf("there are %v: %s", got, f.Text)
	}
}

// While a condition that would tell is open, a field that nothing tried so far
// has moved is not the bench's.
func TestAFieldIsNotTheBenchWhileMoreCanBeTried(t *testing.T) {
	lines := map[float64]float64{1: 1e-3, 3: 2e-5, 5: 3e-5, 7: 2e-5, 11: 1e-5}
	r := []hunt.Reading{hum("A", hunt.AsFound, nil, lines), hum("B", hunt.AsFound, nil, lines)}
	for _, c := range []hunt.Condition{
		{Change: hunt.OtherOutlet}, {Change: hunt.LightsOff}, {Change: hunt.LaptopOnBattery}, {Change: hunt.OutputUnplugged, Subject: "A"},
		{Change: hunt.BoardTurned}, {Change: hunt.OnBattery},
	} {
		r = append(r, hum("A", c, nil, lines), hum("B", c, nil, lines))
		board := wholeBoard
		board.Profile = false
		if w := hunt.Weigh(board, r); w.Causes[0].Cause == hunt.Bench || w.Next == nil {
			t.Errorf("after %s: %s", c, w.Summary)
		}
	}
}

// Tones that are all as far from stronger lines of the mains are skirts of those,
// where the mains wandered, and no converter's; one of its own frequency is.
func TestSkirtsOfADimmerAreNoWhine(t *testing.T) {
	r := hum("A", hunt.AsFound, map[float64]float64{1521.8: 1e-5, 1621.8: 1e-5, 1721.8: 1e-5, 1821.7: 1e-5},
		map[float64]float64{1: 1e-3, 3: 3e-4, 9: 1e-4, 29: 5e-5, 31: 5e-5, 33: 5e-5, 35: 5e-5, 37: 5e-5})
	if got := present(hunt.Weigh(wholeBoard, []hunt.Reading{r})); slices.Contains(got, hunt.Converter) {
		t.Errorf("there are %v", got)
	}
	r = hum("A", hunt.AsFound, map[float64]float64{1521.8: 1e-5 * 20}, map[float64]float64{1: 1e-3, 3: 3e-4, 9: 1e-4, 29: 5e-5, 31: 5e-5})
	if got := present(hunt.Weigh(wholeBoard, []hunt.Reading{r})); !slices.Contains(got, hunt.Converter) {
		t.Errorf("of a whine there are %v", got)
	}
}
