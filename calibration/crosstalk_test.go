package calibration

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/testsignals"
)

func crosstalkTone(hz float64) testsignals.Spec {
	s := testsignals.New(testsignals.Tone, 48000, -12, 1)
	s.FrequencyHz = hz
	return s
}

// A capacitance into a resistance is a first-order high-pass (circuit theory).
func TestCrosstalk(t *testing.T) {
	cfg := goodBench(t)
	cfg.Interface.CrosstalkFarads, cfg.Interface.CrosstalkOhms = 10e-12, 1e3
	b := newLeadBench(t, cfg)
	inputs := b.inputs()
	inputs[0].PlugRelStd, inputs[1].PlugRelStd = 0.003, 0.004
	for _, hz := range CrosstalkHz {
		// Input 2 has the lead.
		if err := AddCrosstalk(&inputs[1], []*Input{&inputs[0]}, b.record(crosstalkTone(hz), capture.LoopbackOne, 0, 2, 1)); err != nil {
			t.Fatal(err)
		}
	}
	for i, c := range inputs[0].Crosstalk {
		x := 2 * math.Pi * CrosstalkHz[i] * 10e-12 * 1e3
		want := analysis.DB(x / math.Hypot(1, x))
		t.Logf("%g Hz: %.4f ± %.4f dB, want %.4f", c.FrequencyHz, c.DB.Value, 2*c.DB.Std, want)
		if c.UpperBound || c.From != 2 || c.FrequencyHz != CrosstalkHz[i] || math.Abs(c.DB.Value-want) > 3*c.DB.Std {
			t.Errorf("%+v, want %.4f dB", c, want)
		}
		// Two plugs of 0.003 and 0.004, and 0.005 dB of noise.
		near(t, "standard uncertainty in dB", c.DB.Std, 8.6859*math.Hypot(0.003, 0.004), 1e-3)
	}
	if len(inputs[0].Crosstalk) != 2 || len(inputs[1].Crosstalk) != 0 {
		t.Errorf("crosstalk was put into the wrong input")
	}
}

// Where nothing crosses, the noise gives a bound: an input of -105 dBu in
// 20 kHz and 0.7 s of tone at 0.4 dBu, -105 - 10·lg(20000·0.7) - 0.4 = -147 dB
// (the variance of an amplitude is twice the noise's density over the length),
// plus the bound's few standard uncertainties.
func TestNoCrosstalkIsABound(t *testing.T) {
	cfg := goodBench(t)
	cfg.Interface.CrosstalkFarads = 0
	b := newLeadBench(t, cfg)
	inputs := b.inputs()
	if err := AddCrosstalk(&inputs[0], []*Input{&inputs[1]}, b.record(crosstalkTone(1035), capture.LoopbackOne, 0, 1, 2)); err != nil {
		t.Fatal(err)
	}
	c := inputs[1].Crosstalk[0]
	t.Logf("bound %.1f dB", c.DB.Value)
	if !c.UpperBound || c.DB.Value > -130 || c.DB.Value < -147 {
		t.Errorf("%+v, want a bound between -147 and -130 dB", c)
	}
}
