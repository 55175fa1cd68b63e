package calibration

import (
	"context"
	"math"
	"math/cmplx"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

// 600 Ω into 600 Ω is 6.02 dB down (circuit theory); 100 Ω into 10 kΩ 0.0864 dB.
func TestLoading(t *testing.T) {
	near(t, "600 into 600 Ω in dB", Loading(600, 600).Value, -6.0206, 1e-4)
	l := Loading(100, 10e3)
	near(t, "100 Ω into 10 kΩ in dB", l.Value, -0.08643, 1e-5)
	near(t, "a fifth of it, evenly spread", l.Std, 0.2*0.08643/math.Sqrt(3), 1e-6)
	for _, unknown := range [][2]float64{{0, 0}, {100, 0}, {0, 1e4}, {-1, 1e4}} {
		l := Loading(unknown[0], unknown[1])
		near(t, "unknown loading in dB", l.Value, 0, 0)
		near(t, "its standard uncertainty", l.Std, 0.05774, 1e-5)
	}
}

// loopbackOf records a kind of signal through the loopback of a simulated
// bench.
func loopbackOf(t *testing.T, cfg simboard.Config, kind testsignals.Kind, patch capture.Patch) (*analysis.Recording, *simboard.Truth) {
	t.Helper()
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	sig, err := testsignals.Generate(testsignals.New(kind, cfg.RateHz, -12, 2))
	if err != nil {
		t.Fatal(err)
	}
	take, err := sim.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Patch: patch})
	if err != nil {
		t.Fatal(err)
	}
	proof, err := capture.Check(take, sig, capture.Expect{NoSignal: patch == capture.Terminated})
	if err != nil {
		t.Fatal(err)
	}
	patching := []Patching{{Output: "1", Input: 1}, {Output: "2", Input: 2}}
	rec, _, err := Recording(take, proof, sig, patching, nil, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	return rec, sim.Truth()
}

func goodBench(t *testing.T) simboard.Config {
	t.Helper()
	cfg, err := simboard.Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

// A simulated bench's full scales, response, latency, noise and distortion
// are found within what is stated.
func TestNewInputFindsTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates a bench")
	}
	cfg := goodBench(t)
	loop, truth := loopbackOf(t, cfg, testsignals.Sweep, capture.Loopback)
	lead := analysis.DB(cmplx.Abs(truth.SampleResponse(capture.Loopback, 1, 1000)))
	output := FullScale{DBu: truth.InputFullScaleDBu(1) + lead, Budget: analysis.Budget{{Source: "meter", Kind: "B", Std: 0.01}}}
	var inputs []Input
	for row := range loop.Samples {
		in, err := NewInput(row+1, loop, row, output)
		if err != nil {
			t.Fatal(err)
		}
		inputs = append(inputs, in)
		state := func(what string, got, want, std float64) {
			if math.Abs(got-want) > 5*std {
				t.Errorf("input %d: %s is %.8g, want %.8g with a standard uncertainty of %.2g", row+1, what, got, want, std)
			}
		}
		state("full scale", in.FullScaleDBu.Value, truth.InputFullScaleDBu(row+1), 0.002)
		state("latency", in.LatencyS.Value, truth.LatencyFrames(row+1)/float64(cfg.RateHz), math.Hypot(in.LatencyS.Std, in.LeadDelayStdS))
		if in.FullScaleDBu.Std < 0.01 || in.FullScaleDBu.Std > 0.0105 || len(in.FullScaleBudget) != 3 {
			t.Errorf("input %d: full scale to %.3g dB by %+v", row+1, in.FullScaleDBu.Std, in.FullScaleBudget)
		}
		for _, hz := range []float64{20, 1000, 15000} {
			i := analysis.NearestIndex(in.Loopback.FrequencyHz, hz)
			got := analysis.DB(math.Hypot(in.Loopback.Re[i], in.Loopback.Im[i]))
			want := analysis.DB(cmplx.Abs(truth.SampleResponse(capture.Loopback, row+1, in.Loopback.FrequencyHz[i])))
			state("loopback", got, want, analysis.DBFromRelative(in.Loopback.RelStd[i]))
		}
	}
	quiet, _ := loopbackOf(t, cfg, testsignals.Silence, capture.Terminated)
	if err := AddFloors(inputs, quiet); err != nil {
		t.Fatal(err)
	}
	for i, in := range inputs {
		density := func(f float64) float64 { return truth.RecordedNoiseDensity(capture.Terminated, i+1, f) }
		hiss := simboard.NoiseVolts(density, func(f float64) float64 { return analysis.WeightingGain(analysis.WeightA, f) })
		e := in.Floor.Hiss[analysis.WeightA]
		if math.Abs(e.Value-hiss) > 5*e.Std || e.Std > 0.02*hiss {
			t.Errorf("input %d: A-weighted hiss is %.4g ± %.2g V, the bench's is %.4g V", i+1, e.Value, e.Std, hiss)
		}
		if len(in.NoiseDensity.Value) == 0 || in.Floor.Hum.Value+in.Floor.Hum.Std <= 0 {
			t.Errorf("input %d: noise density of %d points, hum %+v", i+1, len(in.NoiseDensity.Value), in.Floor.Hum)
		}
	}
	tone, _ := loopbackOf(t, cfg, testsignals.Tone, capture.Loopback)
	if err := AddDistortion(inputs, tone); err != nil {
		t.Fatal(err)
	}
	for i, in := range inputs {
		// 8e-6 of second at full scale is a quarter of that at -12 dBFS.
		if in.THDPercent.Value <= 0 || in.THDPercent.Value > 100*8e-6 {
			t.Errorf("input %d: distortion of %+v %%", i+1, in.THDPercent)
		}
	}
}

// A lead that is not plugged in must not become a calibration.
func TestNewInputWithoutALead(t *testing.T) {
	loop, _ := loopbackOf(t, goodBench(t), testsignals.Sweep, capture.Loopback)
	for i := range loop.Samples[1] {
		loop.Samples[1][i] *= 1e-5
	}
	_, err := NewInput(2, loop, 1, FullScale{DBu: 12})
	if err == nil || !strings.HasPrefix(err.Error(), "calibrating input 2: ") || !strings.Contains(err.Error(), "plug the output straight into this input") {
		t.Errorf("error %v", err)
	}
	loop.Samples[1] = loop.Samples[1][:1000]
	if _, err := NewInput(2, loop, 1, FullScale{DBu: 12}); err == nil {
		t.Error("a recording cut short was taken")
	}
}

func someProfile() *Profile {
	return &Profile{
		ID: "p1", Instrument: capture.Description{Device: "bench", RateHz: 48000},
		ValidUntil: time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC), OutputFullScaleDBu: analysis.Estimate{Value: 14},
		LoadingDB: analysis.Estimate{Value: -0.01, Std: 0.002},
		Inputs: []Input{{Channel: 3, FullScaleDBu: analysis.Estimate{Value: 12, Std: 0.02}, PlugRelStd: 1e-4, LeadDelayStdS: 2e-9,
			FullScaleBudget: analysis.Budget{{Source: "meter", Kind: "B", Std: 0.02}}, LatencyS: analysis.Estimate{Value: 5e-3}}},
	}
}

func TestCheck(t *testing.T) {
	p := someProfile()
	before, after := p.ValidUntil.Add(-time.Second), p.ValidUntil.Add(time.Second)
	for _, c := range []struct {
		device      string
		rateHz      int
		now         time.Time
		refused, is string
	}{
		{"bench", 48000, before, "", ""},
		{"bench", 48000, p.ValidUntil, "", ""},
		{"bench", 48000, after, "expired on 2026-06-01", ""},
		{"other", 48000, before, `not of "other"`, ""},
		{"other", 44100, after, "", "made at 48000 Hz, the bench is at 44100 Hz"},
	} {
		refused, err := p.Check(c.device, c.rateHz, c.now)
		if (refused == "") != (c.refused == "") || !strings.Contains(refused, c.refused) {
			t.Errorf("%+v: absolute readings refused: %q", c, refused)
		}
		if (err == nil) != (c.is == "") || err != nil && !strings.Contains(err.Error(), c.is) {
			t.Errorf("%+v: error %v", c, err)
		}
	}
}

// A full scale of 12 dBu is 0.7746 V · 10^(12/20) RMS, times √2 at the peak:
// 4.3611 V.
func TestKnown(t *testing.T) {
	p := someProfile()
	b, err := p.Known(3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volts at full scale", b.VoltsPerUnit, 4.3611, 1e-4)
	if b.Loopback != &p.Inputs[0].Loopback || b.Floor != &p.Inputs[0].Floor || b.LoadingDB != p.LoadingDB ||
		b.LatencyS != p.Inputs[0].LatencyS || b.PlugRelStd != 1e-4 || b.LeadDelayStdS != 2e-9 || len(b.VoltsBudget) != 1 {
		t.Errorf("known of input 3: %+v", b)
	}
	if _, err := p.Known(1); err == nil || !strings.Contains(err.Error(), "does not cover input 1") {
		t.Errorf("an input without a calibration: %v", err)
	}
	near(t, "level for 4 dBu", p.LevelDBFS(4), -10, 1e-12)
}
