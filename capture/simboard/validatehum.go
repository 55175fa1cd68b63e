package simboard

import (
	"errors"
	"fmt"
	"slices"
)

func (h *Hum) validate() error {
	for _, err := range []error{h.GroundLoop.validate(), h.Magnetic.validate(), h.Ripple.validate(), h.Electric.validate(), h.Dimmer.validate(), h.Swing.validate()} {
		if err != nil {
			return fmt.Errorf("hum: %w", err)
		}
	}
	return nil
}

func (g *GroundLoop) validate() error {
	if g == nil {
		return nil
	}
	err := firstOutside(
		check{"loop current in A", g.AmpsRMS, 0, 100}, check{"shield resistance in Ω", g.ShieldOhms, 0, 1000}, phaseCheck(g.PhaseRad),
		check{"loop resistance in Ω", g.LoopOhms, 0, 1e4}, check{"isolator's capacitance in F", g.IsolatorFarads, 0, 1e-6},
		check{"share that one outlet leaves", g.SharedShare, 0, 1},
	)
	if err != nil {
		return err
	}
	if g.ShieldOhms > orDefault(g.LoopOhms, usualLoopOhms) {
		return fmt.Errorf("shield resistance of %g Ω is more than the whole loop's", g.ShieldOhms)
	}
	return validateLines(g.Lines)
}

func (m *Magnetic) validate() error {
	if m == nil {
		return nil
	}
	err := firstOutside(check{"current in A", m.AmpsRMS, 0, 100}, check{"mutual inductance in H", m.MutualHenrys, 0, 1}, phaseCheck(m.PhaseRad),
		check{"angle in degrees", m.AngleDeg, -360, 360}, check{"upright share", m.UprightShare, 0, 1})
	if err != nil {
		return err
	}
	return validateLines(m.Lines)
}

func (r *Ripple) validate() error {
	if r == nil {
		return nil
	}
	return firstOutside(check{"rectifier peak in V", r.PeakVolts, 0, 1000}, check{"reservoir in F", r.ReservoirFarads, 0, 10},
		check{"load in A", r.LoadAmps, 0, 100}, check{"rejection in dB", r.RejectionDB, 0, 300},
		check{"lean", r.Lean, -0.5, 0.5}, phaseCheck(r.PhaseRad))
}

func (e *Electric) validate() error {
	if e == nil {
		return nil
	}
	err := firstOutside(check{"mains in V", e.MainsVoltsRMS, 0, 500}, check{"stray capacitance in F", e.StrayFarads, 0, 1e-6},
		check{"node resistance in Ω", e.NodeOhms, 0, 1e9}, phaseCheck(e.PhaseRad))
	if err != nil {
		return err
	}
	return validateLines(e.Lines)
}

func (d *Dimmer) validate() error {
	if d == nil {
		return nil
	}
	return firstOutside(check{"mains in V", d.MainsVoltsRMS, 0, 500}, check{"firing angle in degrees", d.FiringDeg, 0, 180},
		check{"stray capacitance in F", d.StrayFarads, 0, 1e-6}, check{"node resistance in Ω", d.NodeOhms, 0, 1e9}, phaseCheck(d.PhaseRad))
}

func (s *Swing) validate() error {
	if s == nil {
		return nil
	}
	return firstOutside(check{"swing in dB", s.DepthDB, -60, 60}, check{"period of a swing in s", s.PeriodS, 0, 1e6},
		check{"step in dB", s.StepDB, -200, 60}, check{"time of a step in s", s.StepAtS, 0, 1e9}, check{"time between steps in s", s.StepEveryS, 0, 1e6})
}

func (l *Laptop) validate() error {
	err := firstOutside(check{"frame pulses in V", l.Frames.PeakVolts, 0, 100}, check{"frame pulses' duty", l.Frames.Duty, 0, 1},
		check{"microframe pulses in V", l.Microframes.PeakVolts, 0, 100}, check{"microframe pulses' duty", l.Microframes.Duty, 0, 1},
		check{"clock error in ppm", l.ClockPPM, -1000, 1000})
	if err != nil {
		return err
	}
	if err := validateLines(l.ChargerHum); err != nil {
		return fmt.Errorf("charger: %w", err)
	}
	return validateTones(l.ChargerTones)
}

func (d *Device) validateHum() error {
	if d.Hum.GroundLoop != nil {
		return errors.New("a ground loop runs through an output's lead, not a device")
	}
	if err := d.Hum.validate(); err != nil {
		return err
	}
	return validateTones(d.Tones)
}

func (b *Board) validateInputHum() error {
	if b.InputHum.GroundLoop != nil || b.InputHum.Ripple != nil {
		return errors.New("neither a ground loop nor ripple comes in there")
	}
	return b.InputHum.validate()
}

// validateEnds looks at what hum names besides its own place.
func (b *Board) validateEnds() error {
	ends := []Earth{"", BenchEarth, LaptopCharger, SupplyEarth}
	for _, o := range b.Outputs {
		ends = append(ends, AmplifierAt(o.Name))
	}
	for _, o := range b.Outputs {
		if g := o.Hum.GroundLoop; g != nil && (!slices.Contains(ends, g.From) || !slices.Contains(ends, g.To)) {
			return fmt.Errorf("output %s: hum: a ground loop from %q to %q: ends are %q", o.Name, g.From, g.To, ends[1:])
		}
	}
	whole := Config{Board: *b}
	for _, h := range whole.hums() {
		m := h.Magnetic
		if m != nil && m.From != "" && m.From != BoardSupply && whole.device(m.From).Name == "" {
			return fmt.Errorf("hum: the field of the supply of device %q, which does not exist", m.From)
		}
	}
	return nil
}
