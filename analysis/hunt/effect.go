package hunt

// effect is what a condition does to a cause: the chances that it vanishes
// (or nearly), that it stays the same, and that it does something in between
// or worse. They sum to 1; none is 0, for people and boards misbehave.
type effect struct{ vanishes, same, other float64 }

// place is where a cause comes in: an output, a device or two, or a word.
type place struct {
	output, device, second string
	// of is "input", "supply", "outside", "laptop" or nothing.
	of    string
	prior float64
}

const (
	atInput  = "input"
	atSupply = "supply"
	outside  = "outside"
	atLaptop = "laptop"
)

// places lists where a cause may come in on a board, weighed at an output.
func places(cause string, b Board, output string) []place {
	var out []place
	each := func(prior float64) {
		for _, d := range b.Devices {
			out = append(out, place{device: d, prior: prior / float64(len(b.Devices))})
		}
	}
	switch cause {
	case GroundLoop:
		out = append(out, place{output: output, prior: 0.75}, place{of: atLaptop, prior: 0.1})
		for _, o := range b.Outputs {
			if o != output {
				out = append(out, place{output: o, prior: 0.15 / float64(max(1, len(b.Outputs)-1))})
			}
		}
	case Magnetic:
		out = append(out, place{of: outside, prior: 0.4}, place{of: atSupply, prior: 0.3})
		each(0.3)
	case Ripple:
		out = append(out, place{of: atSupply, prior: 0.2})
		each(0.8)
	case Electric:
		out = append(out, place{of: atInput, prior: 0.6}, place{of: outside, prior: 0.1})
		each(0.3)
	case Converter:
		out = append(out, place{of: atSupply, prior: 0.1}, place{of: atLaptop, prior: 0.05})
		each(0.85)
	case Beat:
		out = append(out, place{of: atSupply, prior: 0.1})
		for i, d := range b.Devices {
			for _, e := range b.Devices[i+1:] {
				n := len(b.Devices)
				out = append(out, place{device: d, second: e, prior: 1.8 / float64(n*(n-1))})
			}
		}
	default:
		out = append(out, place{prior: 1})
	}
	sum := 0.0
	for _, p := range out {
		sum += p.prior
	}
	for i := range out {
		out[i].prior /= sum
	}
	return out
}

func (p place) has(device string) bool {
	return device != "" && (p.device == device || p.second == device)
}

// Common effects.
var (
	gone      = effect{0.92, 0.03, 0.05}
	mostly    = effect{0.75, 0.10, 0.15}
	untouched = effect{0.02, 0.92, 0.06}
	touched   = effect{0.03, 0.80, 0.17}
	anything  = effect{0.30, 0.35, 0.35}
)

// effectOf is what a condition does to a cause at a place: physics first,
// common practice where that leaves it open.
func effectOf(cause string, p place, c Condition) effect {
	switch cause {
	case GroundLoop:
		return loopEffect(p, c)
	case Magnetic:
		return magneticEffect(p, c)
	case Ripple, Converter, Beat:
		return supplyEffect(cause, p, c)
	case Electric:
		return electricEffect(p, c)
	case Dimmer:
		return dimmerEffect(p, c)
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

// loopEffect: a loop opens where its output's lead is broken or isolated, and
// drives no current where all share one outlet. A battery opens it only where
// it runs through the board's own earth.
func loopEffect(p place, c Condition) effect {
	switch c.Change {
	case OutputUnplugged, OutputIsolated:
		if p.of != atLaptop && c.Subject == p.output {
			return gone
		}
		return effect{0.15, 0.65, 0.20}
	case OtherOutlet:
		return effect{0.65, 0.08, 0.27}
	case LaptopOnBattery:
		if p.of == atLaptop {
			return gone
		}
		return effect{0.06, 0.84, 0.10}
	case OnBattery, SupplyOff:
		if c.Subject == "" {
			return effect{0.25, 0.60, 0.15}
		}
		return effect{0.03, 0.90, 0.07}
	}
	return untouched
}

// magneticEffect: turning the board turns its loops in the field; the field
// goes with the transformer that makes it.
func magneticEffect(p place, c Condition) effect {
	switch c.Change {
	case BoardTurned:
		return effect{0.30, 0.08, 0.62}
	case SupplyOff, OnBattery:
		if c.Subject == "" {
			if p.of == outside {
				return touched
			}
			return effect{0.80, 0.10, 0.10}
		}
		if p.has(c.Subject) {
			return mostly
		}
	case DeviceBypassed:
		if p.has(c.Subject) {
			return effect{0.5, 0.25, 0.25}
		}
		return touched
	case InputShorted:
		return effect{0.06, 0.74, 0.20}
	case OutputIsolated, OtherOutlet:
		return touched
	}
	return untouched
}

// supplyEffect is of what comes out of a device's supply.
func supplyEffect(cause string, p place, c Condition) effect {
	switch c.Change {
	case SupplyOff, OnBattery:
		if c.Subject == "" && p.of != atLaptop || p.has(c.Subject) {
			return gone
		}
		if c.Subject != "" && p.of == atSupply {
			return effect{0.08, 0.80, 0.12}
		}
	case DeviceBypassed:
		if p.has(c.Subject) {
			return effect{0.75, 0.13, 0.12}
		}
		return effect{0.03, 0.88, 0.09}
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

// electricEffect: a field gets in at a node of high impedance; shorting the
// node, or taking it away, ends that.
func electricEffect(p place, c Condition) effect {
	switch c.Change {
	case InputShorted:
		if p.of == atInput {
			return gone
		}
		return effect{0.15, 0.65, 0.20}
	case DeviceBypassed:
		if p.has(c.Subject) {
			return mostly
		}
		return effect{0.05, 0.82, 0.13}
	case BoardTurned:
		return effect{0.05, 0.55, 0.40}
	case OnBattery, SupplyOff:
		if c.Subject == "" {
			return effect{0.10, 0.65, 0.25}
		}
	case LightsOff:
		return effect{0.06, 0.80, 0.14}
	case OutputIsolated, OtherOutlet, LaptopOnBattery:
		return effect{0.03, 0.85, 0.12}
	}
	return untouched
}

// dimmerEffect: it goes with the lights, and gets in as any field does.
func dimmerEffect(_ place, c Condition) effect {
	switch c.Change {
	case LightsOff:
		return effect{0.95, 0.02, 0.03}
	case InputShorted:
		return effect{0.45, 0.35, 0.20}
	case BoardTurned:
		return effect{0.05, 0.60, 0.35}
	case DeviceBypassed:
		return effect{0.08, 0.80, 0.12}
	case OtherOutlet, OutputIsolated:
		return touched
	}
	return untouched
}

// usbEffect: clock lines ride on the laptop's earth, which its charger ties
// down.
func usbEffect(c Condition) effect {
	switch c.Change {
	case LaptopOnBattery:
		return effect{0.70, 0.15, 0.15}
	case OutputIsolated:
		return effect{0.35, 0.40, 0.25}
	case OtherOutlet:
		return effect{0.15, 0.65, 0.20}
	case OutputUnplugged:
		return effect{0.10, 0.75, 0.15}
	}
	return untouched
}
