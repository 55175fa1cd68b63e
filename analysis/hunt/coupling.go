package hunt

import "slices"

// place is where a cause comes in, and what it comes from.
type place struct {
	// output is the output at whose amplifier a loop ends, or in whose lead a field
	// is picked up.
	output string
	// device is where it comes in; second is the other one of a beat, or the one
	// whose supply makes a field.
	device, second string
	// of is what it comes from, at where it comes in, as far as a device or an
	// output does not say it.
	of, at string
	prior  float64
}

const (
	atInput  = "input"
	atSupply = "supply"
	atLaptop = "laptop"
	atBoth   = "laptop and supply"
	outside  = "outside"
	inLead   = "lead" // of the output that is weighed
	inBench  = "bench"
)

// places lists where a cause may come in on a board, weighed at an output, the
// priors summing to 1.
func places(cause string, b Board, output string) []place {
	var out []place
	powered := b.powered()
	n := float64(len(powered))
	switch cause {
	case GroundLoop:
		others := slices.DeleteFunc(slices.Clone(b.Outputs), func(o string) bool { return o == output })
		for _, end := range []place{{prior: loopElsewhere}, {of: atLaptop, prior: loopByLaptop}, {of: atSupply, prior: loopBySupply}} {
			out = append(out, place{of: end.of, at: inLead, output: output, prior: loopHere * end.prior})
			for _, o := range others {
				out = append(out, place{of: end.of, at: inLead, output: o, prior: loopThere * end.prior / float64(len(others))})
			}
		}
		// Without an amplifier, by the leads to the bench: it is at all outputs.
		out = append(out, place{of: atBoth, prior: loopEverywhere})
	case Magnetic:
		for _, p := range pickUps(b, output, inLeadOfCoil) {
			for _, from := range []place{{of: outside, prior: fromOutside}, {of: atSupply, prior: fromSupply}} {
				q := p
				q.of, q.prior = from.of, from.prior*p.prior
				out = append(out, q)
			}
		}
		for _, d := range powered {
			out = append(out, place{second: d, prior: fromAdapter / n})
		}
	case Electric, Dimmer:
		out = pickUps(b, output, inLeadOfField)
	case Ripple, Converter:
		out = append(out, place{of: atSupply, prior: allDevicesShare})
		for _, d := range powered {
			out = append(out, place{device: d, prior: (1 - allDevicesShare) / n})
		}
	case Beat:
		out = append(out, place{of: atSupply, prior: allDevicesOfBeat})
		for i, d := range powered {
			for _, e := range powered[i+1:] {
				out = append(out, place{device: d, second: e, prior: 2 * (1 - allDevicesOfBeat) / (n * (n - 1))})
			}
		}
	case Bench:
		out = append(out, place{at: inBench, prior: 1})
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

// pickUps are where a field gets in; what is in no device is in the wiring
// between them, or in one that nobody told of.
func pickUps(b Board, output string, lead float64) []place {
	out := []place{{at: atInput, prior: atInputShare}, {at: inLead, output: output, prior: lead}, {prior: inWiringShare}}
	for _, d := range b.Devices {
		out = append(out, place{device: d, prior: inDeviceShare / float64(len(b.Devices))})
	}
	return out
}

// effectOf is what a condition does to a cause at a place, at the output that
// is weighed.
func effectOf(cause string, p place, c Condition, weighed string) effect {
	all := c.Subject == ""
	mine := !all && (p.device == c.Subject || p.second == c.Subject)
	noSupply := c.Change == SupplyOff || c.Change == OnBattery
	switch cause {
	case Bench:
		if c.Change == LaptopOnBattery {
			return touched // its charger may hum in the interface
		}
		return untouched
	case GroundLoop:
		return loopEffect(p, c, weighed)
	case USB:
		switch c.Change {
		case LaptopOnBattery, OutputIsolated, OutputUnplugged:
			return wayBack
		case OtherOutlet:
			return touched
		}
		return untouched
	case Ripple, Converter, Beat:
		switch {
		case cause == Beat && mine && (noSupply || c.Change == DeviceBypassed):
			return halves // the other one may be heard by itself
		case noSupply && all, mine && (noSupply || c.Change == DeviceBypassed):
			return gone
		case noSupply, c.Change == DeviceBypassed:
			return touched
		}
		return untouched
	case Dimmer, Electric, Magnetic:
		switch {
		case cause == Dimmer && c.Change == LightsOff:
			return gone
		case cause == Magnetic && c.Change == BoardTurned && p.of != atSupply:
			return turned
		case cause == Magnetic && noSupply && (all && p.of != outside || mine):
			return mostly
		}
		return fieldEffect(p, c)
	}
	return untouched
}

// fieldEffect is what a condition does to what is picked up, by where: a
// shorted input ends what comes in there, a device that is out of the path adds
// nothing, and a board whose buffer is off passes nothing from ahead of it.
func fieldEffect(p place, c Condition) effect {
	off := c.Change == SupplyOff || c.Change == DeviceBypassed
	switch {
	case c.Change == InputShorted && p.at == atInput:
		return gone
	case off && (c.Subject == "" && p.at != inLead || c.Subject != "" && c.Subject == p.device):
		return mostly
	case off && c.Subject != "":
		return touched
	case c.Change == BoardTurned:
		return moved
	case c.Change == LaptopOnBattery, p.at == inLead && (off || c.Change == InputShorted || c.Change == LightsOff):
		return untouched
	}
	return touched
}

// loopEffect: a loop opens where what is at one of its ends is taken away, and
// where the lead in which it drops its voltage is isolated; it drives no current
// where all share one outlet. A board that is switched off keeps its earth, one
// on battery has none.
func loopEffect(p place, c Condition, weighed string) effect {
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
		return mostly
	case LaptopOnBattery:
		if p.of == atLaptop || p.of == atBoth {
			return gone
		}
	case OnBattery, SupplyOff:
		if c.Subject == "" && (p.of == atSupply || p.of == atBoth) {
			return mostly
		}
		if c.Subject == "" {
			return touched
		}
	}
	return untouched
}
