package hunt

import (
	"cmp"
	"slices"
)

// place is where a cause comes in, and what it comes from.
type place struct {
	// output is the output at whose amplifier a loop ends, or in whose lead
	// a field is picked up.
	output string
	// device is where it comes in; second is the other one of a beat, or the
	// one whose supply makes a field.
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
	outside  = "outside"
	inLead   = "lead" // of the output that is weighed
)

// places lists where a cause may come in on a board, weighed at an output.
// Which is more likely is common practice, no source.
func places(cause string, b Board, output string) []place {
	var out []place
	n := float64(len(b.Devices))
	each := func(prior float64) {
		for _, d := range b.Devices {
			out = append(out, place{device: d, prior: prior / n})
		}
	}
	// What is in no device is in the wiring between them, or in one that nobody
	// told of.
	wiring := place{prior: 0.1}
	if n == 0 {
		wiring.prior = 0.4
	}
	switch cause {
	case GroundLoop:
		out = loops(b, output)
	case Magnetic:
		out = fields(b, output, wiring)
	case Electric, Dimmer:
		out = append(out, place{at: atInput, prior: 0.5}, place{at: inLead, output: output, prior: 0.2}, wiring)
		each(0.3)
	case Ripple:
		out = append(out, place{of: atSupply, prior: 0.2})
		each(0.8)
	case Converter:
		out = append(out, place{of: atSupply, prior: 0.15}, place{of: atLaptop, prior: 0.05})
		each(0.8)
	case Beat:
		out = append(out, place{of: atSupply, prior: 0.1})
		for i, d := range b.Devices {
			for _, e := range b.Devices[i+1:] {
				out = append(out, place{device: d, second: e, prior: 1.8 / (n * (n - 1))})
			}
		}
	default:
		out = append(out, place{prior: 1})
	}
	return shared(out)
}

// loops end at an amplifier, and at what else has an earth of its own.
func loops(b Board, output string) []place {
	var out []place
	for of, share := range map[string]float64{"": 0.5, atLaptop: 0.25, atSupply: 0.25} {
		out = append(out, place{of: of, at: inLead, output: output, prior: 0.8 * share})
		for _, o := range b.Outputs {
			if o != output {
				out = append(out, place{of: of, at: inLead, output: o, prior: 0.2 * share / float64(len(b.Outputs)-1)})
			}
		}
	}
	slices.SortFunc(out, func(a, b place) int { return cmp.Or(cmp.Compare(a.of, b.of), cmp.Compare(a.output, b.output)) })
	return out
}

// fields come from a transformer in the room, in the board or in the adapter of
// a device, and are picked up in a lead or in a device.
func fields(b Board, output string, wiring place) []place {
	from := []place{{of: outside, prior: 0.4}, {of: atSupply, prior: 0.3}}
	to := []place{{at: atInput, prior: 0.35}, {at: inLead, output: output, prior: 0.25}, wiring}
	for _, d := range b.Devices {
		from = append(from, place{second: d, prior: 0.3 / float64(len(b.Devices))})
		to = append(to, place{device: d, prior: 0.4 / float64(len(b.Devices))})
	}
	var out []place
	for _, f := range from {
		for _, t := range to {
			t.of, t.second, t.prior = f.of, f.second, f.prior*t.prior
			out = append(out, t)
		}
	}
	return out
}

// shared makes the priors sum to 1.
func shared(out []place) []place {
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
