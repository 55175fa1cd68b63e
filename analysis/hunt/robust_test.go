package hunt_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"boardproof/analysis/hunt"
)

func scoreOf(t *testing.T, w hunt.Weighing, cause string) float64 {
	t.Helper()
	for _, c := range w.Causes {
		if c.Cause == cause {
			return c.Score
		}
	}
	t.Fatalf("%s is not weighed", cause)
	return 0
}

// field is what an electric field brings: the voltage of the mains, its lines
// within what EN 50160 allows (from memory), rising with frequency as a stray
// capacitance passes them.
func field() comb {
	return combOf(rand.New(rand.NewPCG(4, 4)), 1e-3, map[int]float64{
		1: 0, 3: -22, 5: -17, 7: -20, 9: -32, 11: -27, 13: -28, 15: -40, 17: -34, 19: -36, 21: -45, 23: -40, 25: -41, 29: -44, 33: -50, 39: -50,
	})
}

// However well a pattern fits, the comb alone decides nothing.
func TestThePatternAsFoundDoesNotDecide(t *testing.T) {
	if testing.Short() {
		t.Skip("weighs many hunts")
	}
	for name, c := range map[string]comb{"full-wave rectifier": fullWave(1e-3), "square wave": square(1e-3), "field": field()} {
		r := read(t, hunt.AsFound, 5, map[string]scene{"A": {mainsHz: 50.03, comb: c, noiseStd: 1e-6, lengthS: 3}}, "A")
		if w := hunt.Weigh(wholeBoard, r); w.Decided || w.Next == nil {
			t.Errorf("%s: decided as found: %s", name, w.Summary)
		}
	}
}

// A cause whose pattern is not what is expected is found all the same by what
// is done: here a ground loop with the pattern of a rectifier.
func TestConditionsOverruleThePattern(t *testing.T) {
	if testing.Short() {
		t.Skip("weighs many hunts")
	}
	hum := scene{mainsHz: 50.03, comb: fullWave(1e-3), noiseStd: 1e-6, lengthS: 3}
	quiet := hum
	quiet.comb = nil
	r := read(t, hunt.AsFound, 5, map[string]scene{"A": hum}, "A")
	r = append(r, read(t, hunt.Condition{Change: hunt.SupplyOff}, 6, map[string]scene{"A": hum}, "A")...)
	r = append(r, read(t, hunt.Condition{Change: hunt.OutputUnplugged, Subject: "A"}, 7, map[string]scene{"A": quiet}, "A")...)
	if w := hunt.Weigh(wholeBoard, r); w.Causes[0].Cause != hunt.GroundLoop {
		t.Error(w.Summary)
	}
}

// A dimmer without buzz is none, however it would else be met.
func TestADimmerNeedsBuzz(t *testing.T) {
	hum := scene{mainsHz: 50.03, comb: combOf(rand.New(rand.NewPCG(1, 2)), 1e-3, map[int]float64{1: 0, 3: -30, 5: -36}), noiseStd: 1e-6, lengthS: 3}
	w := hunt.Weigh(wholeBoard, read(t, hunt.AsFound, 5, map[string]scene{"A": hum}, "A"))
	if dimmer := scoreOf(t, w, hunt.Dimmer); hunt.Likelihood(dimmer) != "unlikely" {
		t.Errorf("a dimmer without buzz: %.3f, %s", dimmer, w.Summary)
	}
}

// With all supplies off the buffer passes nothing, whatever comes in ahead of
// it: a field at the input is then no less likely than before against ripple.
func TestADeadBoardSaysLittleOfWhatComesInAhead(t *testing.T) {
	hum := scene{mainsHz: 50.03, comb: field(), noiseStd: 1e-6, lengthS: 3}
	quiet := hum
	quiet.comb = nil
	ratio := func(under ...hunt.Condition) float64 {
		r := read(t, hunt.AsFound, 5, map[string]scene{"A": hum}, "A")
		for i, c := range under {
			r = append(r, read(t, c, 6+uint64(i), map[string]scene{"A": quiet}, "A")...)
		}
		w := hunt.Weigh(wholeBoard, r)
		return scoreOf(t, w, hunt.Electric) / scoreOf(t, w, hunt.Ripple)
	}
	before := ratio()
	if after := ratio(hunt.Condition{Change: hunt.SupplyOff}); after < before/3 {
		t.Errorf("electric to ripple is %.3g before and %.3g after all supplies were off", before, after)
	}
	if after := ratio(hunt.Condition{Change: hunt.OnBattery}); after > before/5 {
		t.Errorf("electric to ripple is %.3g before and %.3g on battery, which passes what comes in ahead", before, after)
	}
	one := ratio(hunt.Condition{Change: hunt.SupplyOff, Subject: "boost"}, hunt.Condition{Change: hunt.DeviceBypassed, Subject: "boost"})
	if one < before/10 {
		t.Errorf("electric to ripple is %.3g before and %.3g with one device off: a field may get into it", before, one)
	}
}

// Two converters of which each goes with its own device are two; with a tone at
// their difference, which goes with either, they beat.
func TestTwoConvertersBeatWhereTheirDifferenceIsHeard(t *testing.T) {
	s := func(tones ...float64) map[string]scene {
		all := map[float64]float64{}
		for i, hz := range tones {
			all[hz] = 1e-4 / float64(i+1)
		}
		return map[string]scene{"A": {mainsHz: 50, tones: all, noiseStd: 1e-6, lengthS: 3}}
	}
	boost, delay := hunt.Condition{Change: hunt.SupplyOff, Subject: "boost"}, hunt.Condition{Change: hunt.SupplyOff, Subject: "delay"}
	for want, found := range map[string][]float64{hunt.Converter: {5159, 6350}, hunt.Beat: {5159, 6350, 1191}} {
		r := read(t, hunt.AsFound, 5, s(found...), "A")
		r = append(r, read(t, boost, 6, s(6350), "A")...)
		r = append(r, read(t, delay, 7, s(5159), "A")...)
		if w := hunt.Weigh(wholeBoard, r); w.Causes[0].Cause != want {
			t.Errorf("of %v: %s", found, w.Summary)
		}
	}
}

// A strong line that nothing brings and nothing moves is not hiss.
func TestAStrongStrayIsNotHiss(t *testing.T) {
	s := map[string]scene{"A": {mainsHz: 50, tones: map[float64]float64{4002.7: 1e-4}, noiseStd: 1e-6, lengthS: 3}}
	r := read(t, hunt.AsFound, 5, s, "A")
	for i, d := range append([]string{""}, wholeBoard.Devices...) {
		r = append(r, read(t, hunt.Condition{Change: hunt.SupplyOff, Subject: d}, 6+uint64(i), s, "A")...)
	}
	r = append(r, read(t, hunt.Condition{Change: hunt.LaptopOnBattery}, 16, s, "A")...)
	w := hunt.Weigh(wholeBoard, r)
	if hiss := scoreOf(t, w, hunt.HissOnly); hiss > 0.2 || w.Decided {
		t.Errorf("hiss only %.2f: %s", hiss, w.Summary)
	}
}

// combReading is a reading made by hand: lines of a comb and tones, in volts,
// all else a bound.
func combReading(mainsHz, bound float64, lines, tones map[float64]float64) hunt.Reading {
	r := hunt.Reading{Output: "A", LengthS: 3, InVolts: true, HighBoundV: bound, ToneBoundV: bound, Levels: map[string]hunt.Level{}}
	level := func(v float64) hunt.Level {
		l := hunt.Level{UpperBound: v == 0, RawRMS: max(v, bound)}
		l.RMS.Value, l.RMS.Std = max(v, bound), bound/5
		return l
	}
	if len(lines) > 0 {
		r.MainsHz.Value = mainsHz
	}
	for n := 1; n <= 40; n++ {
		r.Harmonics = append(r.Harmonics, hunt.Harmonic{N: n, Level: level(lines[float64(n)])})
	}
	for hz, v := range tones {
		x := hunt.Tone{Level: level(v)}
		x.FrequencyHz.Value, x.FrequencyHz.Std = hz, 0.01
		r.Tones = append(r.Tones, x)
	}
	slices.SortFunc(r.Tones, func(a, b hunt.Tone) int {
		if a.RMS.Value > b.RMS.Value {
			return -1
		}
		return 1
	})
	all := 0.0
	for _, v := range lines {
		all = max(all, v)
	}
	for _, g := range hunt.Groups() {
		r.Levels[g] = level(all)
	}
	r.Levels[hunt.Hiss] = level(30 * bound)
	return r
}

// A mains comb of which only the fourth line is there is no mains: it is a tone
// that the search for the mains took for one.
func TestALoneHighLineIsATone(t *testing.T) {
	r := combReading(56.8, 1e-8, map[float64]float64{4: 1e-4}, nil)
	w := hunt.Weigh(wholeBoard, []hunt.Reading{r})
	if tones := scoreOf(t, w, hunt.Converter) + scoreOf(t, w, hunt.Beat); tones < 0.8 {
		t.Errorf("of 227.2 Hz alone: %s", w.Summary)
	}
	// With a device off it stays, whatever the search then takes it for.
	for what, lines := range map[string]map[float64]float64{"gone": nil, "there": {4: 1e-4}, "there, and a little hum": {1: 5e-5, 4: 1e-4}} {
		now := combReading(56.8, 1e-8, lines, nil)
		now.Condition = hunt.Condition{Change: hunt.SupplyOff, Subject: "boost"}
		w := hunt.Weigh(wholeBoard, []hunt.Reading{r, now})
		if device := w.Causes[0].Device; (device == "boost") != (what == "gone") {
			t.Errorf("%s with boost off: in device %q", what, device)
		}
	}
}

// Nor is one of which only every fourth line is there, though the mains could
// have its frequency: 200 Hz and its overtone are the beat of two converters.
func TestACombOfEveryFourthLineIsATone(t *testing.T) {
	w := hunt.Weigh(wholeBoard, []hunt.Reading{combReading(50, 1e-8, map[float64]float64{4: 1e-4, 8: 3e-5}, nil)})
	if tones := scoreOf(t, w, hunt.Converter) + scoreOf(t, w, hunt.Beat); tones < 0.8 {
		t.Errorf("of 200 Hz and 400 Hz: %s", w.Summary)
	}
}

// A line at the frequency of the mains is mains hum even if it has no others.
func TestALoneLineOfTheMainsIsHum(t *testing.T) {
	r := combReading(0, 1e-7, nil, map[float64]float64{60.12: 1e-4})
	w := hunt.Weigh(wholeBoard, []hunt.Reading{r})
	if c := w.Causes[0].Cause; c == hunt.Converter || c == hunt.Beat || c == hunt.USB || c == hunt.HissOnly {
		t.Errorf("of 60.12 Hz alone: %s", w.Summary)
	}
}

// The skirts of a line that is not steady are of that line; another one is not.
func TestLinesOfOneSmearAreOneTone(t *testing.T) {
	s := scene{mainsHz: 50, tones: map[float64]float64{2461.2: 1e-4, 2469.4: 5e-5, 2477.9: 3e-5, 2544: 1e-4}, noiseStd: 1e-6, lengthS: 3}
	r := read(t, hunt.AsFound, 5, map[string]scene{"A": s}, "A")
	if n := len(r[0].Tones); n != 2 {
		t.Errorf("%d tones: %+v", n, r[0].Tones)
	}
}

// What is mains at one output is mains at the others, even where too little of
// it is there to find it.
func TestALineOfTheMainsThatAnotherOutputKnowsIsHum(t *testing.T) {
	weak := combReading(0, 1e-7, nil, map[float64]float64{250.27: 1e-4})
	known := combReading(50.053, 1e-7, map[float64]float64{1: 2e-5, 3: 2e-5, 5: 2e-5}, nil)
	known.Output = "B"
	w := hunt.Weigh(wholeBoard, []hunt.Reading{weak, known})
	if w.Output != "A" {
		t.Fatalf("weighed at %s", w.Output)
	}
	if c := w.Causes[0].Cause; c == hunt.Converter || c == hunt.Beat || c == hunt.HissOnly {
		t.Errorf("of the fifth harmonic: %s", w.Summary)
	}
}

// The cause is asked for first: a device that is off would say where ripple
// comes in, but little of whether it is ripple.
func TestTheCauseIsAskedForBeforeItsPlace(t *testing.T) {
	board := wholeBoard
	board.Devices = []string{"fuzz", "boost", "delay", "chorus", "tuner"}
	r := read(t, hunt.AsFound, 5, map[string]scene{"A": {mainsHz: 50.03, comb: reservoir(1e-3, 0.2), noiseStd: 1e-6, lengthS: 3}}, "A")
	rank := map[hunt.Condition]int{}
	for i, p := range hunt.Proposals(board, r) {
		rank[p.Condition] = i
	}
	if other, one := rank[hunt.Condition{Change: hunt.OutputUnplugged, Subject: "A"}], rank[hunt.Condition{Change: hunt.OnBattery, Subject: "fuzz"}]; other > one {
		t.Errorf("output A unplugged is proposal %d, one device on battery %d", other, one)
	}
	for _, p := range hunt.Proposals(board, r) {
		want := map[string]string{"A": "ground loop should change, supply ripple should not", "B": "ground loop may change, most else should not"}
		if p.Condition.Change == hunt.OutputUnplugged && p.Reason != want[p.Condition.Subject] {
			t.Errorf("%s: %s", p.Condition, p.Reason)
		}
	}
}

// A field may get in where no device is known of; turning the board then tells
// a magnetic one.
func TestAFieldIsFoundInABoardOfWhichNoDeviceIsKnown(t *testing.T) {
	board := hunt.Board{Outputs: []string{"A"}, Battery: true, Profile: true}
	hum := scene{mainsHz: 50.03, comb: field(), noiseStd: 1e-6, lengthS: 3}
	weaker, quiet := hum, hum
	weaker.comb = hum.comb.times(0.5)
	// What is left is the bench's own, like nothing in the hum.
	quiet.comb = combOf(rand.New(rand.NewPCG(9, 9)), 5e-6, map[int]float64{1: -9, 2: -2, 3: -25, 4: 0, 5: -19, 7: -4, 9: -7, 11: -15, 13: -3})
	r := read(t, hunt.AsFound, 5, map[string]scene{"A": hum}, "A")
	for i, x := range []struct {
		change string
		then   scene
	}{{hunt.LightsOff, hum}, {hunt.OnBattery, hum}, {hunt.InputShorted, hum}, {hunt.BoardTurned, weaker}, {hunt.SupplyOff, quiet}} {
		r = append(r, read(t, hunt.Condition{Change: x.change}, 6+uint64(i), map[string]scene{"A": x.then}, "A")...)
	}
	w := hunt.Weigh(board, r)
	if w.Causes[0].Cause != hunt.Magnetic {
		t.Error(w.Summary)
	}
}

// A trace of hum under the hiss is the bench's or nobody's, however loud a whine
// is beside it.
func TestATraceOfHumBesideAWhineIsNoCause(t *testing.T) {
	s := scene{
		mainsHz: 50, tones: map[float64]float64{7312.4: 1e-3}, noiseStd: 1e-5, lengthS: 8,
		comb: combOf(rand.New(rand.NewPCG(1, 2)), 4e-7, map[int]float64{1: 0, 2: -14, 3: -6, 4: -18, 5: -13}),
	}
	w := hunt.Weigh(hunt.Board{Outputs: []string{"A"}, Devices: []string{"fuzz"}}, read(t, hunt.AsFound, 5, map[string]scene{"A": s}, "A"))
	for _, c := range w.Causes {
		if (c.Cause == hunt.GroundLoop || c.Cause == hunt.Ripple) && c.Present > 0.5 || c.Cause == hunt.HissOnly && c.Present > 0.1 {
			t.Errorf("%s has a part in it: %.2f", c.Cause, c.Present)
		}
	}
}
