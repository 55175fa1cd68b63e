package calibration

import (
	"math"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/capture"
)

// Turned knobs of the simulated interface: each drift is found within its
// uncertainty, and the advice names the control that was turned.
func TestDriftsNameTheControl(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates a bench")
	}
	b := newLeadBench(t, goodBench(t))
	p := &Profile{ID: "p", Inputs: b.inputs()}
	for _, c := range []struct {
		name               string
		input1, input2, to float64
		say                []string
		not                []string
	}{
		{name: "untouched"},
		{name: "too little to matter", input1: 0.015},
		{name: "input 2 up", input2: 0.3, say: []string{"input 2 is 0.30 dB up", "gain control of input 2"}, not: []string{"output", "alike"}},
		{name: "input 1 down", input1: -0.05, say: []string{"input 1 is 0.05 dB down", "gain control of input 1"}, not: []string{"output"}},
		{name: "output down", to: -0.3, say: []string{"all inputs are 0.30 dB down", "the output's level control"}, not: []string{"gain control"}},
		{name: "both inputs, not alike", input1: 1, input2: -1, say: []string{"inputs 1 and 2", "not alike"}, not: []string{", alike: "}},
		{name: "far off", input1: -20, say: []string{"20.00 dB down", "wrong socket"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for input, dB := range []float64{c.input1, c.input2} {
				if err := b.sim.SetInputGainDB(input+1, dB); err != nil {
					t.Fatal(err)
				}
			}
			if err := b.sim.SetOutputGainDB(c.to); err != nil {
				t.Fatal(err)
			}
			drifts, err := p.Drifts(b.record(CheckTone(48000), capture.Loopback, 0, 1, 2), b.patching([]int{1, 2}))
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range []float64{c.input1 + c.to, c.input2 + c.to} {
				r := drifts[i].Reading(1000)
				near(t, "drift in dB", r.Value, want, 5e-4) // noise; the plugs are not simulated
				// Two plugs of 2e-4 relative each, k = 2.
				near(t, "its uncertainty in dB", r.Uncertainty, 2*8.6859*2e-4*math.Sqrt2, 1e-4)
				near(t, "allowed drift in dB", drifts[i].LimitDB, 0.02, 1e-9)
			}
			advice := DriftAdvice(drifts)
			if (advice == "") != (len(c.say) == 0) {
				t.Errorf("advice %q", advice)
			}
			for _, s := range c.say {
				if !strings.Contains(advice, s) {
					t.Errorf("%q does not say %q", advice, s)
				}
			}
			for _, s := range c.not {
				if strings.Contains(advice, s) {
					t.Errorf("%q says %q", advice, s)
				}
			}
		})
	}
}

// Where the comparison itself is less certain than the floor, three standard
// uncertainties are allowed; of one input it cannot be told which control.
func TestDriftOfOneUncertainInput(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates a bench")
	}
	b := newLeadBench(t, goodBench(t))
	p := &Profile{ID: "p", Inputs: b.inputs()[:1]}
	p.Inputs[0].PlugRelStd = 0.005
	if err := b.sim.SetInputGainDB(1, 0.5); err != nil {
		t.Fatal(err)
	}
	drifts, err := p.Drifts(b.record(CheckTone(48000), capture.Loopback, 0, 1), b.patching([]int{1}))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "allowed drift in dB", drifts[0].LimitDB, 3*8.6859*0.005*math.Sqrt2, 1e-4)
	if advice := DriftAdvice(drifts); !strings.Contains(advice, "input 1 and at the output's level control") {
		t.Errorf("advice %q", advice)
	}
	if _, err := p.Drifts(b.record(CheckTone(48000), capture.Loopback, 0, 1, 2), b.patching([]int{1, 2})); err == nil {
		t.Error("an input that the profile does not cover was compared")
	}
	if _, err := p.Drifts(b.record(CheckTone(48000), capture.LoopbackOne, 0, 2, 1), []Patching{{"B", 2}, {"A", 1}}); err == nil {
		t.Error("an input without the lead was compared")
	}
}

// The whole check lasts under five seconds.
func TestCheckToneIsShort(t *testing.T) {
	b := newLeadBench(t, goodBench(t))
	if s := b.record(CheckTone(48000), capture.Loopback, 0, 1).Signal.Seconds(); s > 5 {
		t.Errorf("the check plays for %g s", s)
	}
}

// A profile of another device says nothing of this one: nothing of it is
// used, and the reason is given.
func TestForeignProfileIsNotUsed(t *testing.T) {
	b := newLeadBench(t, goodBench(t))
	p := &Profile{ID: "p", Inputs: b.inputs(), ValidUntil: time.Now().Add(time.Hour)}
	p.Instrument.Device, p.Instrument.RateHz = "another device", 48000
	take := &capture.Take{RateHz: 48000, Inputs: []int{1}, Samples: [][]float64{make([]float64, 10)}}
	take.Instrument.Device = "simulated bench"
	rec, refused, err := Recording(take, nil, nil, []Patching{{"A", 1}}, p, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(refused, "another device") {
		t.Errorf("refused for %q", refused)
	}
	if got := rec.Bench[0]; got.Loopback != nil || got.VoltsPerUnit != 0 || got.LoadingDB != (analysis.Estimate{}) {
		t.Errorf("a foreign profile was used: %+v", got)
	}
	p.Instrument.Device, p.ValidUntil = "simulated bench", time.Now().Add(-time.Hour)
	if rec, refused, err = Recording(take, nil, nil, []Patching{{"A", 1}}, p, time.Now()); err != nil || !strings.Contains(refused, "expired") {
		t.Errorf("expired: refused for %q, %v", refused, err)
	}
	if got := rec.Bench[0]; got.Loopback == nil || got.VoltsPerUnit != 0 {
		t.Errorf("an expired profile gives %+v, want the response and no volts", got)
	}
}

// Of outputs that come at different times the first is where reading begins, whichever
// is the clearest; one that holds no signal has no time.
func TestReadingBeginsWithTheFirstOutput(t *testing.T) {
	take := &capture.Take{RateHz: 48000, Inputs: []int{1, 2, 3}, Samples: make([][]float64, 3)}
	proof := &capture.Proof{OffsetFrames: 1500, Channels: []capture.ChannelProof{{OffsetFrames: 1500}, {OffsetFrames: 300.5}, {Problem: "no signal"}}}
	rec, _, err := Recording(take, proof, nil, []Patching{{"A", 1}, {"B", 2}, {"C", 3}}, nil, time.Now())
	if err != nil || rec.OffsetFrames != 300.5 {
		t.Errorf("begins at frame %v, %v; want 300.5", rec.OffsetFrames, err)
	}
}
