package simboard

import (
	"errors"
	"fmt"
	"slices"

	"boardproof/testsignals"
)

// within is false for NaN.
func within(v, lo, hi float64) bool { return v >= lo && v <= hi }

// check is one bound of a configuration.
type check struct {
	name          string
	value, lo, hi float64
}

func phaseCheck(rad float64) check { return check{"phase in rad", rad, -1000, 1000} }

func firstOutside(checks ...check) error {
	for _, c := range checks {
		if !within(c.value, c.lo, c.hi) {
			return fmt.Errorf("%s of %g is outside %g to %g", c.name, c.value, c.lo, c.hi)
		}
	}
	return nil
}

// validate reports the first thing that is wrong with c.
func (c *Config) validate() error {
	err := firstOutside(
		check{"rate in Hz", float64(c.RateHz), testsignals.MinRateHz, testsignals.MaxRateHz},
		check{"temperature in K", c.TemperatureK, 0, 400},
		check{"mains frequency in Hz", c.Mains.StartHz, 40, 70},
		check{"mains drift in Hz/s", c.Mains.DriftHzPerS, -1, 1},
		check{"mains wander in Hz/√s", c.Mains.WanderHzPerRootS, 0, 1},
	)
	if err != nil {
		return err
	}
	if err := c.Interface.validate(); err != nil {
		return fmt.Errorf("interface: %w", err)
	}
	if err := c.Board.validate(); err != nil {
		return fmt.Errorf("board: %w", err)
	}
	if len(c.Board.Outputs) > len(c.Interface.Inputs) {
		return fmt.Errorf("board has %d outputs and the interface %d inputs", len(c.Board.Outputs), len(c.Interface.Inputs))
	}
	return nil
}

func (f *Interface) validate() error {
	if len(f.Inputs) == 0 {
		return errors.New("no inputs")
	}
	err := firstOutside(
		check{"output full scale in dBu", f.OutputFullScaleDBu, -40, 40},
		check{"output impedance in Ω", f.OutputOhms, 1e-3, 1e5},
		check{"count of outputs", float64(f.Outputs), 1, 256},
		check{"output noise in dBu", f.OutputNoiseDBu, -300, 0},
		check{"output coupling in Hz", f.OutputCouplingHz, 0, 100},
		check{"output droop in dB", f.OutputDroopDB, 0, 60},
		check{"second harmonic", f.Second, 0, 0.1},
		check{"third harmonic", f.Third, 0, 0.08},
		check{"latency in frames", f.LatencyFrames, 0, 1e5},
		check{"clock error in ppm", f.ClockPPM, -1000, 1000},
		check{"crosstalk in F", f.CrosstalkFarads, 0, 1e-6},
		check{"crosstalk in Ω", f.CrosstalkOhms, 0, 1e7},
		check{"series resistor's error", f.SeriesOff, -0.5, 0.5},
	)
	if err != nil {
		return err
	}
	for _, ohms := range f.LeadOhms {
		if err := firstOutside(check{"lead in Ω", ohms, 0, 1e6}); err != nil {
			return err
		}
	}
	if f.Source != (Tone{}) {
		if err := validateTones([]Tone{f.Source}); err != nil {
			return fmt.Errorf("known source: %w", err)
		}
	}
	if err := f.Laptop.validate(); err != nil {
		return fmt.Errorf("laptop: %w", err)
	}
	for i := range f.Inputs {
		if err := f.Inputs[i].validate(); err != nil {
			return fmt.Errorf("input %d: %w", i+1, err)
		}
	}
	return nil
}

func (in *Input) validate() error {
	if err := validateLines(in.Hum); err != nil {
		return err
	}
	if err := validateTones(in.Tones); err != nil {
		return err
	}
	return firstOutside(
		check{"full scale in dBu", in.FullScaleDBu, -80, 40},
		check{"impedance in Ω", in.Ohms, 1, 1e9},
		check{"capacitance in F", in.Farads, 0, 1e-6},
		check{"noise in dBu", in.NoiseDBu, -300, 0},
		check{"noise corner in Hz", in.NoiseCornerHz, 0, 1e4},
		// A lower corner would not ring out within the padding.
		check{"coupling corner in Hz", in.CouplingHz, 1, 100},
		check{"droop in dB", in.DroopDB, 0, 60},
		check{"delay in frames", in.DelayFrames, 0, 1e4},
	)
}

func validateLines(lines []Harmonic) error {
	for _, h := range lines {
		if h.N < 1 || h.N > maxHarmonic {
			return fmt.Errorf("mains harmonic %d is outside 1 to %d", h.N, maxHarmonic)
		}
		if err := firstOutside(check{"hum in V", h.VoltsRMS, 0, 100}, phaseCheck(h.PhaseRad)); err != nil {
			return err
		}
	}
	return nil
}

func validateTones(tones []Tone) error {
	for _, t := range tones {
		err := firstOutside(
			check{"tone frequency in Hz", t.FrequencyHz, 1, testsignals.MaxRateHz / 2},
			check{"tone level in V", t.VoltsRMS, 0, 100},
			check{"tone linewidth in Hz", t.LinewidthHz, 0, 1000},
		)
		if err != nil {
			return err
		}
	}
	return nil
}

func (b *Board) validate() error {
	err := firstOutside(
		check{"source resistance in Ω", b.Source.Ohms, 0, 1e7},
		check{"source inductance in H", b.Source.Henrys, 0, 100},
		check{"source capacitance in F", b.Source.Farads, 0, 1e-6},
		check{"cable capacitance in F", b.CableFarads, 0, 1e-6},
		check{"buffer resistance in Ω", b.Buffer.Ohms, 100, 1e9},
		check{"buffer capacitance in F", b.Buffer.Farads, 0, 1e-6},
		check{"buffer gain", b.Buffer.Gain, -100, 100},
		check{"buffer voltage noise in V/√Hz", b.Buffer.NoiseVolts, 0, 1e-3},
		check{"buffer noise corner in Hz", b.Buffer.NoiseCornerHz, 0, 1e4},
		check{"buffer current noise in A/√Hz", b.Buffer.NoiseAmps, 0, 1e-6},
		check{"buffer output impedance in Ω", b.Buffer.OutputOhms, 1e-3, 1e6},
		check{"buffer coupling capacitor in F", b.Buffer.CouplingFarads, 0, 1},
		check{"buffer second harmonic", b.Buffer.Second, 0, 0.1},
		check{"buffer third harmonic", b.Buffer.Third, 0, 0.1},
		check{"buffer rail in V", b.Buffer.RailVolts, 0, 1000},
		check{"bend of tones in 1/V", b.BendPerVolt, 0, 1000},
	)
	if err != nil {
		return err
	}
	if err := b.validateOutputs(); err != nil {
		return err
	}
	if err := b.validateDevices(); err != nil {
		return err
	}
	if err := b.validateInputHum(); err != nil {
		return fmt.Errorf("input: %w", err)
	}
	if err := b.validateEnds(); err != nil {
		return err
	}
	return b.validateJoints()
}

func (b *Board) validateOutputs() error {
	if len(b.Outputs) == 0 {
		return errors.New("no outputs")
	}
	names := map[string]bool{}
	for i := range b.Outputs {
		o := &b.Outputs[i]
		if o.Name == "" || names[o.Name] {
			return fmt.Errorf("output %d is called %q: each needs a name of its own", i+1, o.Name)
		}
		names[o.Name] = true
		if err := o.validate(); err != nil {
			return fmt.Errorf("output %s: %w", o.Name, err)
		}
	}
	return nil
}

func (b *Board) validateJoints() error {
	for _, j := range b.Joints {
		if j.Output != "" && !slices.ContainsFunc(b.Outputs, func(o Output) bool { return o.Name == j.Output }) {
			return fmt.Errorf("joint in output %q, which does not exist", j.Output)
		}
		checks := []check{
			{"drop-outs per minute", j.PerMinute, 0, 6000},
			{"drop-out duration in s", j.DurationS, 0, 60},
			{"gain of an open joint", j.Gain, 0, 1},
			{"crackle in V", j.CrackleVoltsRMS, 0, 100},
		}
		for _, at := range j.AtS {
			checks = append(checks, check{"time of a drop-out in s", at, 0, 1e6})
		}
		if err := firstOutside(checks...); err != nil {
			return err
		}
	}
	return nil
}

func (b *Board) validateDevices() error {
	names := map[string]bool{}
	for i, d := range b.Devices {
		if d.Name == "" || d.Name == BoardSupply || names[d.Name] {
			return fmt.Errorf("device %d is called %q: each needs a name of its own", i+1, d.Name)
		}
		names[d.Name] = true
		if err := firstOutside(check{"bypass capacitance in F", d.BypassFarads, 0, 1e-6}); err != nil {
			return fmt.Errorf("device %s: %w", d.Name, err)
		}
		if err := d.validateHum(); err != nil {
			return fmt.Errorf("device %s: %w", d.Name, err)
		}
		if d.Effect == nil {
			continue
		}
		if err := d.Effect.validate(); err != nil {
			return fmt.Errorf("device %s: %w", d.Name, err)
		}
	}
	return nil
}

func (o *Output) validate() error {
	if err := validateTones(o.Tones); err != nil {
		return err
	}
	err := firstOutside(
		check{"series resistance in Ω", o.SeriesOhms, 0.01, 1e7},
		check{"termination in Ω", o.TerminationOhms, 0, 1e9},
		check{"cable capacitance in F", o.CableFarads, 0, 1e-6},
	)
	if err != nil {
		return err
	}
	if t := o.Transformer; t != nil {
		err = firstOutside(
			check{"primary inductance in H", t.PrimaryHenrys, 1e-3, 1e4},
			check{"leakage inductance in H", t.LeakageHenrys, 1e-7 * t.PrimaryHenrys, 0.5 * t.PrimaryHenrys},
			check{"primary resistance in Ω", t.PrimaryOhms, 0, 1e5},
			check{"secondary resistance in Ω", t.SecondaryOhms, 0.01, 1e5},
			check{"winding capacitance in F", t.WindingFarads, 0, 1e-6},
			check{"interwinding capacitance in F", t.InterwindingFarads, 0, 1e-6},
			check{"turns ratio", t.TurnsRatio, 0.01, 100},
		)
		if err != nil {
			return fmt.Errorf("transformer: %w", err)
		}
	}
	return o.Hum.validate()
}
