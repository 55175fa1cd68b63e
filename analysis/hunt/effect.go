package hunt

// effect is what a condition does to a cause: the chances that it vanishes
// (or nearly), that it stays the same, and that it does something in between
// or worse. They sum to 1; none is 0, for people and boards misbehave.
type effect struct{ vanishes, same, other float64 }

// Common effects.
var (
	gone      = effect{0.92, 0.03, 0.05}
	mostly    = effect{0.75, 0.10, 0.15}
	untouched = effect{0.02, 0.92, 0.06}
	touched   = effect{0.03, 0.80, 0.17}
	// passedBy is what is done to a device through which hum from ahead goes:
	// some pass nothing without their supply.
	passedBy = effect{0.05, 0.86, 0.09}
	anything = effect{0.30, 0.35, 0.35}
)

// effectOf is what a condition does to a cause at a place, at the output that
// is weighed: physics first, common practice where that leaves it open.
func effectOf(cause string, p place, c Condition, weighed string) effect {
	switch cause {
	case GroundLoop:
		return loopEffect(p, c, weighed)
	case Magnetic:
		return magneticEffect(p, c)
	case Ripple, Converter, Beat:
		return supplyEffect(cause, p, c)
	case Electric:
		return electricEffect(p, c)
	case Dimmer:
		if c.Change == LightsOff {
			return effect{0.95, 0.01, 0.04}
		}
		return electricEffect(p, c)
	case USB:
		return usbEffect(c)
	case Bench, HissOnly:
		if c.Change == LaptopOnBattery {
			return effect{0.2, 0.6, 0.2}
		}
		return effect{0.02, 0.93, 0.05}
	}
	return anything
}

// loopEffect: a loop opens where what is at one of its ends is taken away, and
// where the lead in which it drops its voltage is isolated; it drives no current
// where all share one outlet. A board that is switched off keeps its earth, one
// on battery has none.
func loopEffect(p place, c Condition, weighed string) effect {
	switch c.Change {
	case OutputUnplugged:
		if c.Subject == p.output {
			return gone
		}
		if c.Subject == weighed {
			return effect{0.30, 0.50, 0.20}
		}
		return effect{0.10, 0.75, 0.15}
	case OutputIsolated:
		if c.Subject == p.output || c.Subject == weighed {
			return gone
		}
		return effect{0.10, 0.75, 0.15}
	case OtherOutlet:
		return effect{0.65, 0.08, 0.27}
	case LaptopOnBattery:
		if p.of == atLaptop {
			return gone
		}
		return effect{0.04, 0.88, 0.08}
	case OnBattery:
		if c.Subject == "" && p.of == atSupply {
			return gone
		}
	case SupplyOff:
		if c.Subject == "" {
			return effect{0.10, 0.75, 0.15}
		}
	}
	return untouched
}

// magneticEffect: turning the board turns its loops in the field, unless the
// field turns with it; the field goes with the transformer that makes it, and
// the pick-up with the lead or device that it is in.
func magneticEffect(p place, c Condition) effect {
	switch c.Change {
	case BoardTurned:
		if p.of == atSupply {
			return touched
		}
		return effect{0.30, 0.08, 0.62}
	case SupplyOff, OnBattery:
		if c.Subject == "" && p.of != outside || c.Subject != "" && c.Subject == p.second {
			return effect{0.82, 0.08, 0.10}
		}
	case OutputIsolated, OtherOutlet:
		return touched
	case InputShorted:
		if p.at == atInput {
			return mostly
		}
	}
	return throughBoard(p, c)
}

// throughBoard is what a condition does to hum by where it comes in, whatever
// brings it: a device that is out of the path adds nothing, and a board whose
// buffer is off passes nothing of what comes in ahead of it.
func throughBoard(p place, c Condition) effect {
	switch c.Change {
	case SupplyOff:
		if c.Subject == "" && p.at != inLead || c.Subject != "" && c.Subject == p.device {
			return mostly
		}
		if c.Subject != "" && p.at != inLead {
			return passedBy
		}
	case DeviceBypassed:
		if c.Subject == p.device {
			return mostly
		}
		if p.at != inLead {
			return passedBy
		}
	case InputShorted:
		if p.at != inLead {
			return effect{0.06, 0.80, 0.14}
		}
	}
	return untouched
}

// supplyEffect is of what comes out of a device's supply.
func supplyEffect(cause string, p place, c Condition) effect {
	switch c.Change {
	case SupplyOff, OnBattery:
		if c.Subject == "" && p.of != atLaptop {
			return gone
		}
		if p.has(c.Subject) {
			return ofOneDevice(cause, gone)
		}
		if p.of == atSupply {
			return effect{0.08, 0.80, 0.12}
		}
		return passedBy
	case DeviceBypassed:
		if p.has(c.Subject) {
			return ofOneDevice(cause, effect{0.78, 0.11, 0.11})
		}
		return passedBy
	case LaptopOnBattery:
		if p.of == atLaptop {
			return gone
		}
	case OutputIsolated:
		if cause != Ripple {
			return effect{0.05, 0.75, 0.20}
		}
	}
	return untouched
}

// ofOneDevice: of two converters that beat one may be heard by itself too, and
// go on when the other is off.
func ofOneDevice(cause string, e effect) effect {
	if cause != Beat {
		return e
	}
	return effect{e.vanishes / 2, e.same, e.other + e.vanishes/2}
}

// electricEffect: a field gets in at a node of high impedance; shorting the
// node, or taking it away, ends that. A dimmer's gets in likewise.
func electricEffect(p place, c Condition) effect {
	switch c.Change {
	case InputShorted:
		if p.at == atInput {
			return gone
		}
	case BoardTurned:
		return effect{0.04, 0.76, 0.20}
	case OnBattery:
		if c.Subject == "" {
			return effect{0.08, 0.72, 0.20}
		}
	case LightsOff:
		return effect{0.05, 0.83, 0.12}
	case OutputIsolated, OtherOutlet:
		return effect{0.03, 0.85, 0.12}
	}
	return throughBoard(p, c)
}

// usbEffect: clock lines ride on the laptop's earth, which its charger ties
// down.
func usbEffect(c Condition) effect {
	switch c.Change {
	case LaptopOnBattery:
		return effect{0.40, 0.40, 0.20}
	case OutputIsolated:
		return effect{0.35, 0.40, 0.25}
	case OtherOutlet:
		return effect{0.15, 0.65, 0.20}
	case OutputUnplugged:
		return effect{0.10, 0.75, 0.15}
	}
	return untouched
}
