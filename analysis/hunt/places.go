package hunt

import "slices"

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
	atBoth   = "laptop and supply"
	outside  = "outside"
	inLead   = "lead" // of the output that is weighed
)

// aparts are the chances that the hum is within 3 dB at another output, 3 to 10
// dB under that at the one weighed, and further under it: what is in one
// output's lead is hardly in another's, what comes in ahead of the split is in
// all (common practice).
func aparts(p place) [3]float64 {
	if p.at == inLead {
		return [3]float64{0.2, 0.15, 0.65}
	}
	return [3]float64{0.55, 0.2, 0.25}
}

// places lists where a cause may come in on a board, weighed at an output, the
// priors summing to 1. Which is more likely is common practice, no source.
func places(cause string, b Board, output string) []place {
	var out []place
	powered := b.powered()
	n := float64(len(powered))
	each := func(prior float64) {
		for _, d := range powered {
			out = append(out, place{device: d, prior: prior / n})
		}
	}
	switch cause {
	case GroundLoop:
		outputs := b.Outputs
		if !slices.Contains(outputs, output) {
			outputs = append(slices.Clone(outputs), output)
		}
		for _, end := range []place{{prior: 0.5}, {of: atLaptop, prior: 0.25}, {of: atSupply, prior: 0.25}} {
			for _, o := range outputs {
				q := place{of: end.of, at: inLead, output: o, prior: 0.8 * end.prior}
				if o != output {
					q.prior = 0.2 * end.prior / float64(len(outputs)-1)
				}
				out = append(out, q)
			}
		}
		// Without an amplifier, by the leads to the bench: it is at all outputs.
		out = append(out, place{of: atBoth, prior: 0.15})
	case Magnetic:
		for _, p := range pickUps(b, output, 0.2) {
			for _, from := range []place{{of: outside, prior: 0.5}, {of: atSupply, prior: 0.3}} {
				p := p
				p.of, p.prior = from.of, from.prior*p.prior
				out = append(out, p)
			}
		}
		for _, d := range powered { // its adapter's
			out = append(out, place{second: d, prior: 0.2 / n})
		}
	case Electric, Dimmer:
		// Into a lead behind a buffer hardly any field gets.
		out = pickUps(b, output, 0.05)
	case Ripple:
		out = append(out, place{of: atSupply, prior: 0.2})
		each(0.8)
	case Converter:
		out = append(out, place{of: atSupply, prior: 0.2})
		each(0.8)
	case Beat:
		out = append(out, place{of: atSupply, prior: 0.1})
		for i, d := range powered {
			for _, e := range powered[i+1:] {
				out = append(out, place{device: d, second: e, prior: 1.8 / (n * (n - 1))})
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

// pickUps are where a field gets in; what is in no device is in the wiring
// between them, or in one that nobody told of.
func pickUps(b Board, output string, lead float64) []place {
	out := []place{{at: atInput, prior: 0.45}, {at: inLead, output: output, prior: lead}, {prior: 0.1}}
	for _, d := range b.Devices {
		out = append(out, place{device: d, prior: 0.35 / float64(len(b.Devices))})
	}
	return out
}

func (p place) has(device string) bool {
	return device != "" && (p.device == device || p.second == device)
}
