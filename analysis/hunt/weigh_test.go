package hunt_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"boardproof/analysis/hunt"
)

var wholeBoard = hunt.Board{
	Outputs: []string{"A", "B"}, Devices: []string{"fuzz", "boost", "delay"},
	Battery: true, LaptopBattery: true, Isolator: true, Profile: true,
}

// theLoop is a hum at output B that is 40 dB down at A, of a mains current.
func theLoop() (quiet, hum scene) {
	rng := rand.New(rand.NewPCG(1, 2))
	loop := combOf(rng, 1e-3, map[int]float64{1: 0, 3: -8, 5: -12, 7: -18, 9: -24, 11: -27, 13: -31})
	quiet = scene{mainsHz: 50.02, comb: loop.times(0.01), noiseStd: 1e-5, lengthS: 3}
	hum = quiet
	hum.comb = loop
	return quiet, hum
}

func TestAGroundLoopIsNamedWithItsOutputAndItsNumbers(t *testing.T) {
	quiet, hum := theLoop()
	r := read(t, hunt.AsFound, 1, map[string]scene{"A": quiet, "B": hum}, "A", "B")
	r = append(r, read(t, hunt.Condition{Change: hunt.SupplyOff}, 2, map[string]scene{"A": quiet, "B": hum}, "A", "B")...)
	r = append(r, read(t, hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}, 3, map[string]scene{"A": quiet, "B": quiet}, "A", "B")...)
	isolated := hum
	isolated.comb = hum.comb.times(0.03)
	r = append(r, read(t, hunt.Condition{Change: hunt.OutputIsolated, Subject: "B"}, 4, map[string]scene{"A": quiet, "B": isolated}, "A", "B")...)
	w := hunt.Weigh(wholeBoard, r)
	first := w.Causes[0]
	if !w.Decided || first.Cause != hunt.GroundLoop || first.Output != "B" || w.Output != "B" {
		t.Errorf("the loop at output B is %+v: %s", first, w.Summary)
	}
	if !strings.Contains(first.For, "fell by 40.") && !strings.Contains(first.For, "fell by 30.") || !strings.Contains(first.For, "when output B was ") {
		t.Errorf("for it: %q", first.For)
	}
	for _, c := range w.Causes {
		if c.Cause == hunt.Ripple && !strings.Contains(c.Against, "dB") {
			t.Errorf("against ripple: %q", c.Against)
		}
	}
	if f := hunt.Find(wholeBoard, r); !strings.Contains(f.Text, "output B") || f.Cure == nil {
		t.Errorf("found: %+v", f)
	}
}

// What unplugging does must move the loop's score both ways.
func TestWhatAConditionDoesMovesTheScore(t *testing.T) {
	quiet, hum := theLoop()
	score := func(under *scene) float64 {
		r := read(t, hunt.AsFound, 1, map[string]scene{"A": hum}, "A")
		if under != nil {
			r = append(r, read(t, hunt.Condition{Change: hunt.OutputUnplugged, Subject: "A"}, 2, map[string]scene{"A": *under}, "A")...)
		}
		for _, c := range hunt.Weigh(wholeBoard, r).Causes {
			if c.Cause == hunt.GroundLoop {
				return c.Score
			}
		}
		return math.NaN()
	}
	silent := quiet
	silent.comb = nil
	before, fell, gone, stayed := score(nil), score(&quiet), score(&silent), score(&hum)
	t.Logf("a loop's score: %.3f as found, %.3f where it fell, %.3f where nothing was left, %.3f where it stayed", before, fell, gone, stayed)
	if !(fell > before && gone > before && fell > 0.9 && gone > 0.9 && stayed < 0.7*before) {
		t.Errorf("%.3f as found, %.3f where it fell, %.3f where nothing was left, %.3f where it stayed", before, fell, gone, stayed)
	}
}

func TestSeriesOfTheHandbookAreKnown(t *testing.T) {
	for name, c := range map[string]struct {
		comb  comb
		cause string
	}{
		"full-wave rectifier":  {fullWave(1e-3), hunt.Ripple},
		"sawtooth on a supply": {reservoir(1e-3, 0.2), hunt.Ripple},
		"square wave":          {square(1e-3), hunt.Dimmer},
	} {
		s := scene{mainsHz: 59.97, comb: c.comb, noiseStd: 1e-5, lengthS: 3}
		r := read(t, hunt.AsFound, 5, map[string]scene{"A": s}, "A")
		// What a pattern may say by itself leaves room for the others.
		// A current that jumps, picked up by a coil, has the lines of a dimmer too.
		alone := 5.0
		if c.cause == hunt.Dimmer {
			alone = 1
		}
		if w := hunt.Weigh(wholeBoard, r); w.Causes[0].Cause != c.cause || w.Causes[0].Score < alone*w.Causes[1].Score {
			t.Errorf("%s: %s", name, w.Summary)
		}
		for _, h := range r[0].Harmonics {
			truth := c.comb[h.N]
			if h.UpperBound || h.N > 40 {
				continue
			}
			if d := h.RMS.Value - math.Hypot(real(truth), imag(truth)); math.Abs(d) > 4*h.RMS.Std {
				t.Errorf("%s, line %d: off by %.2g V, std %.2g", name, h.N, d, h.RMS.Std)
			}
		}
	}
}

func TestTonesAreTold(t *testing.T) {
	for name, c := range map[string]struct {
		tones map[float64]float64
		cause string
	}{
		"a clock's family":  {map[float64]float64{1000.02: 1e-4, 2000.04: 5e-5, 8000.16: 1e-4}, hunt.USB},
		"one whine":         {map[float64]float64{7312.4: 1e-4}, hunt.Converter},
		"its own overtones": {map[float64]float64{4947.8: 1e-4, 9895.6: 6e-5, 14843.4: 4e-5}, hunt.Converter},
		"two and a beat":    {map[float64]float64{9133: 1e-4, 10250: 1e-4, 1117: 5e-5}, hunt.Beat},
		"none":              {nil, hunt.HissOnly},
	} {
		s := scene{mainsHz: 50, tones: c.tones, noiseStd: 1e-5, lengthS: 3}
		w := hunt.Weigh(wholeBoard, read(t, hunt.AsFound, 5, map[string]scene{"A": s}, "A"))
		if w.Causes[0].Cause != c.cause {
			t.Errorf("%s: %s", name, w.Summary)
		}
	}
}

func TestWithoutAReadingAsFoundNothingIsDecided(t *testing.T) {
	quiet, _ := theLoop()
	r := read(t, hunt.Condition{Change: hunt.LightsOff}, 1, map[string]scene{"A": quiet}, "A")
	for _, readings := range [][]hunt.Reading{nil, r, {{Output: "A", Reason: "clipped"}}} {
		w := hunt.Weigh(wholeBoard, readings)
		if w.Decided || len(w.Causes) != len(hunt.Causes()) || !strings.Contains(w.Summary, "undecided") || w.Next != nil {
			t.Errorf("%d readings: %+v", len(readings), w)
		}
		checkScores(t, w)
	}
}

func checkScores(t interface {
	Helper()
	Fatalf(string, ...any)
}, w hunt.Weighing) {
	t.Helper()
	sum := 0.0
	for _, c := range w.Causes {
		if math.IsNaN(c.Score) || c.Score < 0 || c.Score > 1 || math.IsNaN(c.Present) || c.Present < 0 || c.Present > 1+1e-9 {
			t.Fatalf("score %g, present %g of %s", c.Score, c.Present, c.Cause)
		}
		sum += c.Score
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Fatalf("the scores sum to %g", sum)
	}
}

// drawReadings makes any readings at all, sensible or not.
func drawReadings(t *rapid.T) []hunt.Reading {
	x := newTrial(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(0, 2).Draw(t, "causes"), rapid.Float64Range(-20, 80).Draw(t, "over the hiss"))
	r := x.readings(hunt.AsFound)
	conditions := rapid.SliceOfN(rapid.SampledFrom([]hunt.Condition{
		hunt.AsFound, {Change: hunt.OutputUnplugged, Subject: "A"}, {Change: hunt.OutputIsolated, Subject: "B"}, {Change: hunt.SupplyOff},
		{Change: hunt.OnBattery, Subject: "fuzz"}, {Change: hunt.LightsOff}, {Change: "nobody knows"}, {Change: hunt.SupplyOff, Subject: "not there"},
	}), 0, 3).Draw(t, "conditions")
	for _, c := range conditions {
		r = append(r, x.readings(c)...)
	}
	return r
}

func TestScoresSumToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReadings(t)
		// Break some of it.
		for i := range r {
			switch rapid.IntRange(0, 8).Draw(t, "break") {
			case 0:
				r[i].Harmonics = nil
			case 1:
				r[i].Levels = nil
			case 2:
				r[i].Tones = nil
			}
		}
		w := hunt.Weigh(hunt.Board{}, r)
		checkScores(t, w)
		checkScores(t, hunt.Weigh(wholeBoard, r))
		for _, c := range hunt.Changes(r) {
			if math.IsNaN(c.DB.Value) || math.IsNaN(c.DB.Std) || math.IsInf(c.DB.Value, 0) {
				t.Fatalf("change %+v", c)
			}
		}
	})
}

func TestSwappingOutputsSwaps(t *testing.T) {
	swap := map[string]string{"A": "B", "B": "A"}
	rapid.Check(t, func(t *rapid.T) {
		r := drawReadings(t)
		swapped := make([]hunt.Reading, len(r))
		for i, x := range r {
			x.Output = swap[x.Output]
			if o, ok := swap[x.Condition.Subject]; ok {
				x.Condition.Subject = o
			}
			swapped[i] = x
		}
		v, w := hunt.Weigh(wholeBoard, r), hunt.Weigh(wholeBoard, swapped)
		if w.Output != swap[v.Output] {
			t.Fatalf("weighed at %s, swapped at %s", v.Output, w.Output)
		}
		for i, c := range v.Causes {
			o := w.Causes[i]
			if o.Cause != c.Cause || math.Abs(o.Score-c.Score) > 1e-9 || c.Output != "" && o.Output != swap[c.Output] {
				t.Fatalf("%+v is swapped to %+v", c, o)
			}
		}
	})
}

func TestTheFullScaleDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReadings(t)
		g := math.Pow(10, rapid.Float64Range(-3, 1).Draw(t, "gain"))
		scaled := make([]hunt.Reading, len(r))
		for i, x := range r {
			scaled[i] = times(x, g)
		}
		v, w := hunt.Weigh(wholeBoard, r), hunt.Weigh(wholeBoard, scaled)
		for i, c := range v.Causes {
			if o := w.Causes[i]; o.Cause != c.Cause || math.Abs(o.Score-c.Score) > 1e-6 {
				t.Fatalf("%s %.9f becomes %s %.9f at %g times the volts", c.Cause, c.Score, o.Cause, o.Score, g)
			}
		}
	})
}

// times is a reading at another full scale.
func times(r hunt.Reading, g float64) hunt.Reading {
	scale := func(l hunt.Level) hunt.Level {
		l.RMS.Value *= g
		l.RMS.Std *= g
		l.RawRMS *= g
		l.BenchRMS *= g
		return l
	}
	levels := map[string]hunt.Level{}
	for k, l := range r.Levels {
		levels[k] = scale(l)
	}
	r.Levels = levels
	r.Harmonics = append([]hunt.Harmonic(nil), r.Harmonics...)
	for i := range r.Harmonics {
		r.Harmonics[i].Level = scale(r.Harmonics[i].Level)
	}
	r.Tones = append([]hunt.Tone(nil), r.Tones...)
	for i := range r.Tones {
		r.Tones[i].Level = scale(r.Tones[i].Level)
	}
	r.HighBoundV *= g
	r.ToneBoundV *= g
	return r
}

func TestProposalsAreForWhatThereIs(t *testing.T) {
	quiet, hum := theLoop()
	r := read(t, hunt.AsFound, 1, map[string]scene{"A": quiet, "B": hum}, "A", "B")
	bare := hunt.Board{Outputs: []string{"A", "B"}, NoLights: true}
	before := hunt.Proposals(bare, r)
	for _, p := range before {
		switch p.Condition.Change {
		case hunt.OnBattery, hunt.LaptopOnBattery, hunt.LightsOff, hunt.OutputIsolated, hunt.DeviceBypassed:
			t.Errorf("%s cannot be done", p.Condition)
		}
		if p.Bits < 0 || p.Reason == "" {
			t.Errorf("%+v", p)
		}
	}
	if len(before) == 0 || before[0].Condition != (hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"}) {
		t.Fatalf("the first to try for a hum at output B is %+v", before)
	}
	r = append(r, read(t, before[0].Condition, 2, map[string]scene{"A": quiet, "B": quiet}, "A", "B")...)
	for _, p := range hunt.Proposals(bare, r) {
		if p.Condition == before[0].Condition {
			t.Errorf("%s is proposed again", p.Condition)
		}
	}
}

func TestTheBenchsOwnHumIsTheBenchs(t *testing.T) {
	_, hum := theLoop()
	r := read(t, hunt.AsFound, 1, map[string]scene{"A": hum}, "A")
	for i, h := range r[0].Harmonics {
		if !h.UpperBound {
			r[0].Harmonics[i].UpperBound, r[0].Harmonics[i].FloorLimited = true, true
		}
	}
	for _, g := range []string{hunt.Fundamental, hunt.Odd} {
		l := r[0].Levels[g]
		l.UpperBound, l.FloorLimited = true, true
		r[0].Levels[g] = l
	}
	if w := hunt.Weigh(wholeBoard, r); w.Causes[0].Cause != hunt.Bench || !w.Decided {
		t.Error(w.Summary)
	}
}
