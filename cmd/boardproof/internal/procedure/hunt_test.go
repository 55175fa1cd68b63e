package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
)

// hummer is an instrument whose board hums by volts, and through which the
// signal does not come where mute says so.
type hummer struct {
	volts func(conditions []capture.Condition) float64
	mute  func(conditions []capture.Condition) bool
	// swell, where above 0, lets the hum of that take grow.
	swell  func(take int) bool
	takes  [][]capture.Condition
	failAt int
	// deaf: a second input, to which nothing of the signal comes.
	deaf bool
}

func (h *hummer) Describe() capture.Description {
	return capture.Description{Kind: "simboard", Device: "hummer", RateHz: 48000, Inputs: 1, Outputs: 1, Simulated: true}
}

func (h *hummer) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	h.takes = append(h.takes, req.Conditions)
	if h.failAt > 0 && len(h.takes) == h.failAt {
		return nil, fmt.Errorf("recording: %w", context.Canceled)
	}
	gain := 0.5
	if h.mute != nil && h.mute(req.Conditions) {
		gain = 0
	}
	rng := rand.New(rand.NewPCG(1, uint64(len(h.takes))))
	x := make([]float64, len(req.Signal.Samples)+4800)
	v := h.volts(req.Conditions)
	for i := range x {
		t := float64(i) / 48000
		a := v
		if h.swell != nil && h.swell(len(h.takes)) {
			a *= 1 + t/2
		}
		x[i] = 1e-6*rng.NormFloat64() + a*math.Sin(2*math.Pi*50.02*t) + 0.4*a*math.Sin(2*math.Pi*150.06*t)
		if i < len(req.Signal.Samples) {
			x[i] += gain * req.Signal.Samples[i]
		}
	}
	rows := [][]float64{x}
	if h.deaf {
		rows = append(rows, make([]float64, len(x)))
		for i := range x {
			rows[1][i] = 1e-6*rng.NormFloat64() + v*math.Sin(2*math.Pi*50.02*float64(i)/48000)
		}
	}
	return &capture.Take{Signal: req.Signal.Spec, Samples: rows, RateHz: 48000, Inputs: req.Inputs, Outputs: []int{1},
		Patch: req.Patch, Conditions: req.Conditions, Instrument: h.Describe()}, nil
}

func newHunt(in capture.Instrument, devices ...string) (*Hunt, *ear) {
	op := newEar("")
	return &Hunt{Sitting: &Sitting{Instrument: in, Output: 1, Person: op, Now: time.Now,
		Patching: []calibration.Patching{{Output: "B", Input: 1}}}, SilenceS: 3,
		Board: hunt.Board{Outputs: []string{"B"}, Devices: devices, Isolator: true}}, op
}

var unplugged, isolated, shorted = hunt.Condition{Change: hunt.OutputUnplugged, Subject: "B"},
	hunt.Condition{Change: hunt.OutputIsolated, Subject: "B"}, hunt.Condition{Change: hunt.InputShorted}

func TestHuntGoesThroughItsConditions(t *testing.T) {
	in := &hummer{
		volts: func(c []capture.Condition) float64 {
			if len(c) > 0 && c[0].Change == capture.OutputIsolated {
				return 1e-4
			}
			return 1e-2
		},
		mute: func(c []capture.Condition) bool { return len(c) > 0 && c[0].Change == capture.InputShorted },
	}
	h, op := newHunt(in)
	h.Rounds, h.Conditions = 2, []hunt.Condition{isolated, shorted}
	if err := h.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if len(h.Done) != 6 || len(in.takes) != 6 {
		t.Fatalf("%d silences of %d takes, want 6: as found and two conditions, twice", len(h.Done), len(in.takes))
	}
	for i, want := range []hunt.Condition{hunt.AsFound, isolated, shorted} {
		if h.Done[i].Condition != want {
			t.Errorf("silence %d is %s, want %s", i+1, h.Done[i].Condition, want)
		}
		n := 0
		for _, d := range h.Done[3:] {
			if d.Condition == want {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%s comes %d times in the second round", want, n)
		}
	}
	if c := in.takes[1]; len(c) != 1 || c[0] != (capture.Condition{Change: capture.OutputIsolated, Subject: "B"}) || in.takes[0] != nil {
		t.Errorf("conditions of the takes: %v, then %v", in.takes[0], c)
	}
	prompts := op.prompts()
	if prompts[0] != asFoundPrompt || !strings.Contains(prompts[1], "signal transformer") ||
		!strings.HasPrefix(prompts[2], "put back what was changed (output B isolated), then put a shorted plug") {
		t.Errorf("prompts %q", prompts[:3])
	}
	for _, c := range hunt.Changes(h.Readings()) {
		if c.Group == hunt.Fundamental && c.Condition == isolated && math.Abs(c.DB.Value+40) > 0.2 {
			t.Errorf("the isolated output: %s, the board has 40 dB", c)
		}
	}
}

func TestSilenceWithoutMarksOnlyUnderACondition(t *testing.T) {
	in := &hummer{volts: func([]capture.Condition) float64 { return 1e-3 }, mute: func([]capture.Condition) bool { return true }}
	h, _ := newHunt(in)
	h.Conditions = []hunt.Condition{}
	err := h.Run(t.Context())
	var refused *RefusedTake
	if !errors.As(err, &refused) || len(h.Done) != 0 {
		t.Errorf("a dead board as found: %v, %d silences", err, len(h.Done))
	}
	// One of two outputs alone may be dead; it hums all the same.
	h, _ = newHunt(&hummer{volts: in.volts, deaf: true})
	h.Patching = append(h.Patching, calibration.Patching{Output: "C", Input: 2})
	h.Conditions = []hunt.Condition{shorted}
	if err := h.Run(t.Context()); err != nil || len(h.Done) != 2 {
		t.Fatalf("%v, %d silences", err, len(h.Done))
	}
	if got := h.Done[0].Readings[1].Reason; got == "" {
		t.Error("an output that is dead as found was read")
	}
	if r := h.Done[1].Readings[1]; r.Reason != "" || math.Abs(r.Levels[hunt.Fundamental].RMS.Value-1e-3/math.Sqrt2) > 1e-5 {
		t.Errorf("an output without marks under a condition: %q, %+v", r.Reason, r.Levels[hunt.Fundamental])
	}
}

func TestMovingSilenceIsRepeatedOnce(t *testing.T) {
	if testing.Short() {
		t.Skip("several silences")
	}
	in := &hummer{volts: func([]capture.Condition) float64 { return 1e-3 }, swell: func(take int) bool { return take == 1 }}
	h, op := newHunt(in)
	h.Conditions = []hunt.Condition{unplugged}
	if err := h.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if op.asks() != 1 || len(h.Done) != 3 || h.Done[0].Readings[0].Moving == "" || h.Done[1].Condition != hunt.AsFound {
		t.Fatalf("asked %d times, %d silences, moving %q", op.asks(), len(h.Done), h.Done[0].Readings[0].Moving)
	}
	if repeat := op.toDo()[1]; !strings.HasPrefix(repeat.Prompt, "leave everything as it is") || repeat.Caution != "" {
		t.Errorf("the repeat asks for %q, %q", repeat.Prompt, repeat.Caution)
	}
	// Where it always moves alike, it is repeated once in all.
	always := &hummer{volts: in.volts, swell: func(int) bool { return true }}
	h, op = newHunt(always)
	h.Conditions = []hunt.Condition{unplugged, isolated}
	if err := h.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if op.asks() != 1 || len(h.Done) != 4 || !op.heard("it was so again") {
		t.Errorf("asked %d times, %d silences, said %q", op.asks(), len(h.Done), op.said())
	}
}

func TestStoppedHuntKeepsWholeSilences(t *testing.T) {
	in := &hummer{volts: func([]capture.Condition) float64 { return 1e-3 }, failAt: 3}
	h, _ := newHunt(in)
	h.Conditions = []hunt.Condition{unplugged, isolated}
	err := h.Run(t.Context())
	if !errors.Is(err, context.Canceled) || len(h.Done) != 2 || h.Done[1].Condition != unplugged || len(h.Done[1].Readings) != 1 {
		t.Errorf("%v, %d silences", err, len(h.Done))
	}
}

func TestHuntEndsAtMost(t *testing.T) {
	in := &hummer{volts: func([]capture.Condition) float64 { return 1e-3 }}
	h, _ := newHunt(in)
	h.AtMost, h.Conditions = 2, []hunt.Condition{unplugged, isolated, shorted}
	if err := h.Run(t.Context()); err != nil || len(h.Done) != 2 {
		t.Errorf("%v, %d silences, want 2", err, len(h.Done))
	}
}

func TestSearchFindsTheDevice(t *testing.T) {
	if testing.Short() {
		t.Skip("whole hunts")
	}
	devices := []string{"fuzz", "boost", "compressor", "chorus", "delay", "echo", "reverb", "tremolo"}
	for _, culprit := range []string{"fuzz", "echo", "tremolo"} {
		in := &hummer{volts: func(c []capture.Condition) float64 {
			if slices.Contains(c, capture.Condition{Change: capture.SupplyOff, Subject: culprit}) {
				return 1e-5
			}
			return 1e-2
		}}
		h, op := newHunt(in, devices...)
		f, err := h.Search(t.Context(), hunt.SupplyOff)
		if err != nil || f.Device != culprit || !f.Decided || len(h.Done) > 6 {
			t.Errorf("found %q in %d silences, it is %s: %v, %s", f.Device, len(h.Done), culprit, err, f.Text)
		}
		// Each step says what changes from the one before.
		if did := op.toDo(); culprit == "echo" && (did[1].Prompt != "unplug the supply leads of delay, echo, reverb, tremolo" ||
			did[2].Prompt != "unplug the supply leads of fuzz, boost, compressor, chorus; plug in again those of delay, echo" ||
			!strings.Contains(did[1].Caution, "never opened")) {
			t.Errorf("prompts %q, caution %q", op.prompts()[1:3], did[1].Caution)
		}
	}
}

// A device without a supply is never asked to be unplugged, and what was not
// searched is said.
func TestSearchBySupplyLeavesPassiveDevices(t *testing.T) {
	in := &hummer{volts: func([]capture.Condition) float64 { return 1e-2 }}
	h, op := newHunt(in, "fuzz", "volume", "delay")
	h.Board.Passive = []string{"volume"}
	f, err := h.Search(t.Context(), hunt.SupplyOff)
	if err != nil || f.Device != "" || !strings.Contains(f.Text, "not searched: volume") {
		t.Errorf("%v, found %+v", err, f)
	}
	for _, p := range op.prompts() {
		if strings.Contains(p, "volume") {
			t.Errorf("asked to unplug what has no supply: %q", p)
		}
	}
}

func TestParseCondition(t *testing.T) {
	board := hunt.Board{Outputs: []string{"A", "B"}, Devices: []string{"Gull Chorus"}}
	for text, want := range map[string]hunt.Condition{
		"as found": hunt.AsFound, "As Found": hunt.AsFound, "output unplugged=b": {Change: hunt.OutputUnplugged, Subject: "B"},
		" Supply off = gull chorus ": {Change: hunt.SupplyOff, Subject: "Gull Chorus"}, "supply off": {Change: hunt.SupplyOff},
		"lights off": {Change: hunt.LightsOff}, "Phone in the other room": {Change: "Phone in the other room"},
	} {
		if got, err := ParseCondition(text, board); err != nil || got != want {
			t.Errorf("%q is %+v, %v, want %+v", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"": "names no condition", "s": "too short", "output unplugged": `needs the name of an output of the board, as in "output unplugged=A"`,
		"output unplugged=C": "it has A, B", "device bypassed=": "it has Gull Chorus", "lights off=B": "needs no name",
		"output unpluged=B": "no change that is known: output unplugged=OUTPUT",
	} {
		if _, err := ParseCondition(text, board); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// Each step that touches power says what matters there.
func TestHuntSafety(t *testing.T) {
	for change, must := range map[string][]string{
		hunt.OtherOutlet: {"protective earth is never lifted", "licensed electrician", "local codes", "turn the amplifiers down"},
		hunt.SupplyOff:   {"never opened", "licensed technician"}, hunt.OnBattery: {"never opened", "licensed technician"},
		hunt.OutputIsolated: {"protective earth is never lifted", "turn the amplifiers down"}, hunt.OutputUnplugged: {"turn the amplifiers down"},
		hunt.LaptopOnBattery: {"protective earth is never lifted"}, hunt.LightsOff: {"licensed electrician", "local codes"},
		"amplifier moved": {"protective earth is never lifted"}, "": {"turn the amplifiers down"},
	} {
		_, caution := handWork(hunt.Condition{Change: change, Subject: "B"}, shorted, false)
		if change == "" {
			_, caution = handWork(hunt.AsFound, shorted, false)
		}
		for _, m := range must {
			if !strings.Contains(caution, m) {
				t.Errorf("%q does not say %q: %s", change, m, caution)
			}
		}
	}
	if _, caution := handWork(hunt.Condition{Change: hunt.BoardTurned}, hunt.AsFound, false); caution != "" {
		t.Errorf("turning the board warns of %q", caution)
	}
}
