package calibration

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/capture"
)

// Input 2 is 0.3 dB less sensitive and 0.012 frames late; its end of the lead
// has 200 Ω more, which into 10 kΩ beside the output's 75 Ω is 0.17 dB. A
// straight comparison has both in it, reversal tells them apart.
func TestReversal(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates a bench")
	}
	cfg := goodBench(t)
	cfg.Interface.LeadOhms = []float64{0, 200}
	for i := range cfg.Interface.Inputs {
		cfg.Interface.Inputs[i].Ohms, cfg.Interface.Inputs[i].CouplingHz, cfg.Interface.Inputs[i].DroopDB = 10e3, 2, 2.5
	}
	b := newLeadBench(t, cfg)
	inputs := b.inputs()
	straight, swapped := b.sweep(capture.Loopback, 0, 1, 2), b.sweep(capture.LoopbackSwapped, 0, 1, 2)
	m, err := Reversal(straight, swapped, inputs)
	if err != nil {
		t.Fatal(err)
	}
	lead := analysis.DB((10e3 + 75.0) / (10e3 + 275.0))
	// What noise moves: the plugs are not simulated.
	near(t, "mismatch in dB", m.DB.Value, cfg.Interface.Inputs[0].FullScaleDBu-cfg.Interface.Inputs[1].FullScaleDBu, 2e-4)
	near(t, "lead in dB", m.LeadDB.Value, lead, 2e-4)
	near(t, "delay in ns", m.DelayS.Value*1e9, 0.012/48000*1e9, 0.5)
	near(t, "standard uncertainty in dB", m.DB.Std, 8.6859*2e-4, 1e-5) // four plugs of 2e-4, each by a half
	if math.Abs(m.WorstDB.Value) > 1e-3 {
		t.Errorf("inputs of one response differ by %g dB at %g Hz", m.WorstDB.Value, m.WorstHz)
	}
	if !m.LeadAsymmetric() || m.Input != 2 || m.Reference != 1 {
		t.Errorf("%+v", m)
	}
	if m, err = Reversal(straight, straight, inputs); err != nil || m.LeadAsymmetric() {
		t.Errorf("a lead that was not turned is called asymmetric: %+v, %v", m, err)
	}
	if _, err := Reversal(straight, swapped, inputs[:1]); err == nil {
		t.Error("one input was compared with itself")
	}
}
