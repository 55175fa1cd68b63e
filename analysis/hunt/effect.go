package hunt

import "slices"

// effect is what a condition does to a cause: the chances that it vanishes
// (or nearly), that it stays the same, and that it does something in between
// or worse. They sum to 1; none is 0, for people and boards misbehave.
type effect struct{ vanishes, same, other float64 }

func (e effect) chances() [3]float64 { return [3]float64{e.vanishes, e.same, e.other} }

// Effects, in steps that a person would give them: physics first, common
// practice where that leaves it open.
var (
	gone      = effect{0.92, 0.03, 0.05} // opened, or fed no more
	mostly    = effect{0.75, 0.10, 0.15} // taken out of the path
	untouched = effect{0.02, 0.92, 0.06} // has nothing to do with it
	touched   = effect{0.03, 0.80, 0.17} // moved about
	passedBy  = effect{0.05, 0.86, 0.09} // goes on through a device that is off
	halves    = effect{0.55, 0.05, 0.40} // one of two, or in part
	turned    = effect{0.30, 0.08, 0.62} // another angle in a field
	anything  = effect{0.33, 0.34, 0.33}
)

// effectOf is what a condition does to a cause at a place, at the output that
// is weighed.
func effectOf(cause string, p place, c Condition, weighed string) effect {
	all := c.Subject == ""
	mine := !all && p.has(c.Subject)
	noSupply := c.Change == SupplyOff || c.Change == OnBattery
	switch cause {
	case Bench, HissOnly:
		if c.Change == LaptopOnBattery {
			return effect{0.1, 0.8, 0.1} // its charger may hum in the interface
		}
		return untouched
	case GroundLoop:
		return loopEffect(p, c, weighed)
	case USB:
		// Clock lines ride on the laptop's earth, and need a way back.
		switch c.Change {
		case LaptopOnBattery, OutputIsolated, OutputUnplugged:
			return effect{0.40, 0.40, 0.20}
		case OtherOutlet:
			return effect{0.15, 0.65, 0.20}
		}
		return untouched
	case Ripple, Converter, Beat:
		switch {
		case noSupply && all, mine && (noSupply || c.Change == DeviceBypassed):
			if cause == Beat && !all {
				return halves // the other one may be heard by itself
			}
			return gone
		case noSupply, c.Change == DeviceBypassed:
			return passedBy
		}
		return untouched
	case Dimmer:
		if c.Change == LightsOff {
			return gone
		}
	case Magnetic:
		switch {
		case c.Change == BoardTurned && p.of != atSupply:
			return turned
		case noSupply && (all && p.of != outside || mine):
			return mostly
		}
	}
	return fieldEffect(p, c)
}

// fieldEffect is what a condition does to what is picked up, by where: a
// shorted input ends what comes in there, a device that is out of the path adds
// nothing, and a board whose buffer is off passes nothing from ahead of it.
func fieldEffect(p place, c Condition) effect {
	switch c.Change {
	case InputShorted:
		if p.at == atInput {
			return gone
		}
	case SupplyOff, DeviceBypassed:
		if c.Subject == "" && p.at != inLead || c.Subject != "" && c.Subject == p.device {
			return mostly
		}
		if c.Subject != "" {
			return passedBy
		}
	}
	if p.at == inLead && slices.Contains([]string{SupplyOff, DeviceBypassed, InputShorted, LightsOff}, c.Change) || c.Change == LaptopOnBattery {
		return untouched
	}
	return touched
}

// loopEffect: a loop opens where what is at one of its ends is taken away, and
// where the lead in which it drops its voltage is isolated; it drives no current
// where all share one outlet. A board that is switched off keeps its earth, one
// on battery has none.
func loopEffect(p place, c Condition, weighed string) effect {
	toLaptop, toSupply := p.of == atLaptop || p.of == atBoth, p.of == atSupply || p.of == atBoth
	switch c.Change {
	case OutputUnplugged, OutputIsolated:
		switch {
		case c.Subject == p.output:
			return gone
		case c.Subject == weighed && p.of != atBoth:
			return anything
		}
		return touched
	case OtherOutlet:
		return effect{0.65, 0.08, 0.27}
	case LaptopOnBattery:
		if toLaptop {
			return gone
		}
	case OnBattery, SupplyOff:
		if c.Subject == "" && toSupply {
			return mostly
		}
		if c.Subject == "" {
			return touched
		}
	}
	return untouched
}
