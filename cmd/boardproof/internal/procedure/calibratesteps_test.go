package procedure

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
)

func benchOf(t *testing.T, change func(*simboard.Config)) (*Sitting, *ear) {
	t.Helper()
	cfg, err := simboard.Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	change(&cfg)
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	l := newEar("")
	return &Sitting{Instrument: sim, Output: 1, Person: l, Now: time.Now,
		Patching: []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}}, l
}

func sourcePlan() CalibrationPlan {
	return CalibrationPlan{Bench: "test", LevelDBFS: -12, Validity: time.Hour,
		Source: &calibration.KnownSource{VoltsRMS: 1.0012, Percent: 0.1, FrequencyHz: 1000}}
}

// An input of 4 dBu clips at -6 dBFS of an output of 12.4 dBu: that level is
// left out and said, and the others are there.
func TestLinearityLeavesOutWhatClips(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates")
	}
	s, l := benchOf(t, func(c *simboard.Config) { c.Interface.Inputs[1].FullScaleDBu = 4 })
	plan := sourcePlan()
	plan.Linearity = true
	p, err := s.Calibrate(context.Background(), plan)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(p.Inputs[0].Linearity); n != len(calibration.LinearityLevels)-2 {
		t.Errorf("%d levels were compared, want %d", n, len(calibration.LinearityLevels)-2)
	}
	if said := strings.Join(l.said(), "\n"); !strings.Contains(said, "linearity at -6 dBFS is left out: input 2: clipped") {
		t.Errorf("it was said: %s", said)
	}
}

// With 150 Ω of output and inputs of 10 kΩ beside a resistor of 10 kΩ, the
// loading is 20·lg(1 + 150/5000) = 0.2567 dB (circuit theory) and no longer
// uncertain by what nobody knows; the prompts ask for one input at a time.
func TestImpedanceMakesTheLoading(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates")
	}
	s, l := benchOf(t, func(c *simboard.Config) {
		c.Interface.OutputOhms, c.Interface.SeriesOff = 150, 0
		for i := range c.Interface.Inputs {
			c.Interface.Inputs[i].Ohms = 10e3
		}
	})
	plan := sourcePlan()
	plan.Crosstalk, plan.Resistor, plan.OutputOhms = true, calibration.SeriesResistor{Ohms: 10e3, Percent: 1}, 150
	p, err := s.Calibrate(context.Background(), plan)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.LoadingDB.Value+0.2567) > 1e-3 || p.LoadingDB.Std > 0.04 {
		t.Errorf("loading is %+v, want -0.2567 dB", p.LoadingDB)
	}
	for _, in := range p.Inputs {
		if len(in.Crosstalk) != 2 || in.Impedance == nil || math.Abs(in.Impedance.Ohms.Value-10e3) > 10 {
			t.Errorf("input %d: crosstalk %+v, impedance %+v", in.Channel, in.Crosstalk, in.Impedance)
		}
	}
	var asked []string
	for _, prompt := range l.prompts() {
		words := strings.Fields(prompt)
		asked = append(asked, strings.Join(words[:min(5, len(words))], " "))
	}
	want := "connect the output to every|unplug the loopback lead and|connect the output to input|put the resistor of 10000|" +
		"connect the output to input|put the resistor of 10000|unplug the loopback lead and"
	if got := strings.Join(asked, "|"); got != want {
		t.Errorf("asked for\n%s, want\n%s", got, want)
	}
}

// A lead with a bad end is told of, and what was measured is not spoilt by it:
// 500 Ω into 10 kΩ beside 75 Ω is 0.42 dB.
func TestSwapTellsOfABadLead(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates")
	}
	s, l := benchOf(t, func(c *simboard.Config) {
		c.Interface.LeadOhms = []float64{0, 500}
		for i := range c.Interface.Inputs {
			c.Interface.Inputs[i].Ohms = 10e3
		}
	})
	plan := sourcePlan()
	plan.Swap = true
	p, err := s.Calibrate(context.Background(), plan)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.Mismatch.DB.Value+0.3) > 0.003 || math.Abs(p.Mismatch.LeadDB.Value-analysis.DB(10075.0/10575)) > 0.003 {
		t.Errorf("%+v", p.Mismatch)
	}
	if said := strings.Join(l.said(), "\n"); !strings.Contains(said, "two ends of the loopback lead differ by -0.421") {
		t.Errorf("it was said: %s", said)
	}
}

// Whoever stops at any prompt gets no profile.
func TestCalibrationStopsAtEachPrompt(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates")
	}
	for _, at := range []string{"exchange the plugs", "known source", "resistor of 10000"} {
		s, l := benchOf(t, func(*simboard.Config) {})
		l.During = newEar(at).During
		plan := sourcePlan()
		plan.Swap, plan.Crosstalk, plan.Resistor = true, true, calibration.SeriesResistor{Ohms: 10e3}
		if p, err := s.Calibrate(context.Background(), plan); p != nil || !errors.Is(err, talk.ErrStopped) {
			t.Errorf("stopped at %q: profile %v, error %v", at, p, err)
		}
	}
}
