package simboard

import "boardproof/capture"

// GroundLoop is a current round a loop of earths that drops a voltage along
// the shield of an output's lead. A voltage between the two earths drives it
// through LoopOhms; the shield is a part of those.
//
// Unplugging the amplifier at either end, or running what is at an end on a
// battery, opens the loop. A transformer in the lead of this output leaves
// what the driving voltage sends through its windings' capacitance into the
// output's impedance, which rises with frequency; one in the lead of another
// output at an end leaves the current that its capacitance passes. One outlet
// for all leaves SharedShare of the driving voltage. Switching the board's
// supply off leaves its earth where it is.
type GroundLoop struct {
	AmpsRMS    float64 // fundamental
	ShieldOhms float64
	PhaseRad   float64
	// From and To are the two ends: "" is the amplifier at this output, and
	// BenchEarth. They may be the same amplifier, on two outlets.
	From, To Earth
	// LoopOhms is the resistance all round; 0 is usualLoopOhms.
	LoopOhms float64
	// IsolatorFarads lies between the windings of the transformer that is put
	// in a lead; 0 is usualIsolatorFarads.
	IsolatorFarads float64
	// SharedShare is what one outlet leaves; 0 is usualSharedShare.
	SharedShare float64
	// Lines are the current's; nil is the usual distortion.
	Lines []Harmonic

	state loopState
}

// Values for a loop of which no more is known; all invented.
const (
	usualLoopOhms       = 1.0
	usualIsolatorFarads = 400e-12
	usualSharedShare    = 0.05
)

// Earth is where a loop is tied to the earth of the mains.
type Earth string

// Ends of a loop, besides the amplifiers.
const (
	// BenchEarth is an earth of the bench that nothing takes away.
	BenchEarth Earth = "bench"
	// LaptopCharger is the earth of the charger of the bench's computer.
	LaptopCharger Earth = "laptop charger"
	// SupplyEarth is the earth of the board's own supply.
	SupplyEarth Earth = "board supply"
)

// AmplifierAt is the earth of an amplifier that hangs at an output.
func AmplifierAt(output string) Earth { return Earth("amplifier at " + output) }

// loopState is what conditions have done to a loop.
type loopState struct {
	opened, shared, isolatedElsewhere bool
	// nodeOhms is the impedance that the isolated output's lead works into,
	// 0 where it is not isolated.
	nodeOhms float64
}

// endsAt says whether one of the ends of a loop of an output is at e.
func (g *GroundLoop) endsAt(output string, e Earth) bool {
	from, to := g.From, g.To
	if from == "" {
		from = AmplifierAt(output)
	}
	if to == "" {
		to = BenchEarth
	}
	return from == e || to == e
}

// volts is the voltage in the output at a frequency for the current as found.
func (g *GroundLoop) volts(fHz float64) complex128 {
	s := g.state
	if s.opened {
		return 0
	}
	amps := g.AmpsRMS
	if s.shared {
		amps *= orDefault(g.SharedShare, usualSharedShare)
	}
	loop, farads := orDefault(g.LoopOhms, usualLoopOhms), orDefault(g.IsolatorFarads, usualIsolatorFarads)
	switch {
	case s.nodeOhms > 0:
		return complex(amps*loop, 0) * stray(fHz, farads, s.nodeOhms)
	case s.isolatedElsewhere:
		return complex(amps*g.ShieldOhms, 0) * stray(fHz, farads, loop)
	}
	return complex(amps*g.ShieldOhms, 0)
}

func orDefault(v, usual float64) float64 {
	if v == 0 {
		return usual
	}
	return v
}

// change does to the loop of output o what a condition does.
func (g *GroundLoop) change(o *Output, c capture.Condition) {
	s := &g.state
	amplifier := g.endsAt(o.Name, AmplifierAt(c.Subject))
	switch c.Change {
	case capture.OutputUnplugged:
		s.opened = s.opened || amplifier
	case capture.OutputIsolated:
		if c.Subject == o.Name {
			s.nodeOhms = parallel(o.SeriesOhms, o.TerminationOhms)
		} else if amplifier {
			s.isolatedElsewhere = true
		}
	case capture.OtherOutlet:
		s.shared = true
	case capture.LaptopOnBattery:
		s.opened = s.opened || g.endsAt(o.Name, LaptopCharger)
	case capture.OnBattery:
		s.opened = s.opened || c.Subject == "" && g.endsAt(o.Name, SupplyEarth)
	}
}

// parallel is two resistances side by side; the second may be 0 for none.
func parallel(ohms, other float64) float64 {
	if other == 0 {
		return ohms
	}
	return ohms * other / (ohms + other)
}
