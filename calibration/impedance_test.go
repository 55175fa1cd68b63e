package calibration

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/capture/simboard"
)

// measureImpedance does what a calibration does for input 1 of an interface.
func measureImpedance(t *testing.T, f simboard.Interface, r SeriesResistor, outputOhms float64) *Impedance {
	t.Helper()
	cfg := goodBench(t)
	cfg.Interface.OutputOhms, cfg.Interface.SeriesOff = f.OutputOhms, f.SeriesOff
	cfg.Interface.Inputs[0].Ohms, cfg.Interface.Inputs[0].Farads = f.Inputs[0].Ohms, f.Inputs[0].Farads
	b := newLeadBench(t, cfg)
	z, err := NewImpedance(b.sweep(capture.LoopbackOne, 0, 1), b.sweep(capture.LoopbackSeries, r.Ohms, 1), 0, r, outputOhms)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The simulation's circuit (a complex divider, solved on its own) has a known
// resistance beside a known capacitance: with a resistor that is what it says
// they come out within what noise allows, and with one at the edge of its
// tolerance within the expanded uncertainty.
func TestImpedanceOfTheSimulatedInput(t *testing.T) {
	if testing.Short() {
		t.Skip("measures six inputs")
	}
	for _, c := range []struct {
		name                     string
		ohms, farads, out        float64
		resistor, withinRel, cap float64 // cap: allowed relative error of the capacitance
	}{
		{"high impedance", 1e6, 60e-12, 75, 10e3, 2e-3, 2e-3},
		{"high impedance, large resistor", 1e6, 60e-12, 75, 100e3, 2e-4, 2e-3},
		{"line input", 10e3, 220e-12, 150, 10e3, 1e-4, 5e-3},
		{"600 ohms", 600, 1e-9, 600, 1e3, 1e-4, 2e-2},
	} {
		for _, off := range []float64{0, 0.009} {
			f := simboard.Interface{OutputOhms: c.out, SeriesOff: off, Inputs: []simboard.Input{{Ohms: c.ohms, Farads: c.farads}}}
			z := measureImpedance(t, f, SeriesResistor{Ohms: c.resistor, Percent: 1}, c.out)
			u := analysis.CoverageK * z.Ohms.Std
			t.Logf("%s, resistor off by %g: %.6g ± %.2g Ω, truth %g", c.name, off, z.Ohms.Value, u, c.ohms)
			if off == 0 {
				near(t, c.name+": ohms", z.Ohms.Value, c.ohms, c.withinRel*c.ohms)
			} else {
				near(t, c.name+", resistor off: ohms", z.Ohms.Value, c.ohms, u)
			}
			// The lead is plugged twice, 0.02 % each, and the resistor is known
			// within 1 %, evenly: what is left of 1 must not be less certain.
			rest := 1 - (c.ohms+c.out)/(c.ohms+c.out+c.resistor)
			if most := c.ohms*2*math.Hypot(0.01/math.Sqrt(3), 3e-4/rest) + 2*0.2*c.out; u > most || z.LowerBound {
				t.Errorf("%s: ± %g Ω, want at most %g", c.name, u, most)
			}
			if z.Farads == nil {
				t.Errorf("%s: no capacitance was found", c.name)
				continue
			}
			allowed := c.cap * c.farads
			if off != 0 {
				allowed = analysis.CoverageK * z.Farads.Std
			}
			near(t, c.name+": farads", z.Farads.Value, c.farads, allowed)
		}
	}
}

// An open input cannot be told from one of many megohms with 1 kΩ: a bound
// below the truth, not a figure. Without the output's impedance the sum of
// both is given, and said to be.
func TestImpedanceThatCannotBeTold(t *testing.T) {
	if testing.Short() {
		t.Skip("measures several inputs")
	}
	f := simboard.Interface{OutputOhms: 75, Inputs: []simboard.Input{{Ohms: 50e6, Farads: 60e-12}}}
	z := measureImpedance(t, f, SeriesResistor{Ohms: 1e3, Percent: 1}, 75)
	if !z.LowerBound || z.Ohms.Value > 50e6 || z.Ohms.Value < 0.5e6 {
		t.Errorf("50 MΩ beside 1 kΩ: %+v, want a lower bound", z)
	}
	f.OutputOhms, f.Inputs[0].Ohms = 600, 600
	if z = measureImpedance(t, f, SeriesResistor{Ohms: 1e3, Percent: 1}, 0); !z.WithOutput {
		t.Error("it is not said that the output's impedance is in the sum")
	}
	near(t, "600 Ω and 600 Ω", z.Ohms.Value, 1200, 0.3)
}

// 600 Ω into two inputs of 600 Ω in parallel is 1/3, -9.542 dB (circuit
// theory). The manual's fifth of the output's 600 Ω, evenly spread, moves it by
// 2/3 of itself: 20/ln 10 times 0.2/√3·2/3.
func TestMeasuredLoading(t *testing.T) {
	f := simboard.Interface{OutputOhms: 600, Inputs: []simboard.Input{{Ohms: 600, Farads: 60e-12}}}
	z := measureImpedance(t, f, SeriesResistor{Ohms: 1e3, Percent: 0}, 600)
	l := MeasuredLoading(600, []Input{{Impedance: z}, {Impedance: z}})
	near(t, "loading in dB", l.Value, -9.5424, 2e-3)
	near(t, "its standard uncertainty", l.Std, 8.6859*0.2/math.Sqrt(3)*2/3, 0.01)
	// 5 % of resistor, the same for both inputs: 2/3 of it, and no less.
	z.resistorRel = 0.05
	more := MeasuredLoading(600, []Input{{Impedance: z}, {Impedance: z}})
	near(t, "what the resistor adds", math.Sqrt(more.Std*more.Std-l.Std*l.Std), 8.6859*0.05*2/3, 2e-3)
}

// One resistor found both inputs, so what it is off by adds up, 10 % of 2·10⁻⁴ S
// beside the manual's fifth, evenly spread, of an output of 1 kΩ (JCGM 100, F.1.2.3).
func TestTheResistorIsSharedByTheInputs(t *testing.T) {
	in := Input{Impedance: &Impedance{resistorRel: 0.1, loading: analysis.Estimate{Value: 1 / 11e3}}}
	l := MeasuredLoading(1e3, []Input{in, in})
	near(t, "its standard uncertainty", l.Std, 8.6859*0.2*math.Hypot(0.2/math.Sqrt(3), 0.1)/1.2, 1e-4)
}
