package analysis

import "math"

// Around a line that was taken off, a wandering mains or a jittering
// converter leaves a smear that no steady line fits: many weak ones together
// would count as hiss. So the bins there are not read but bridged.
const (
	// exciseBins each side is where a Hann window puts what is left of a line.
	exciseBins = 2.5
	// exciseShare of a line's frequency is how far it is smeared.
	exciseShare = 1e-4
	// bridgeBins each side of a gap say what the noise in it is.
	bridgeBins = 4
)

// excise replaces d around each line, in hertz, by a straight line between the means of
// the noise beside it, and takes what is then known of the noise less often into
// account.
func excise(d *density, lines []reach) {
	gap := make([]bool, len(d.psd))
	for _, l := range lines {
		hz := exciseBins*d.binHz + exciseShare*l.hz + l.beside
		first, last := int(math.Ceil((l.hz-hz)/d.binHz)), int(math.Floor((l.hz+hz)/d.binHz))
		for k := max(first, 1); k <= min(last, len(gap)-1); k++ {
			gap[k] = true
		}
	}
	excised := 0.0
	for k := 0; k < len(gap); k++ {
		if !gap[k] {
			continue
		}
		end := k
		for end < len(gap) && gap[end] {
			end++
		}
		bridge(d.psd, gap, k, end)
		excised += float64(end - k)
		k = end
	}
	// What is bridged adds nothing that is not known from the rest.
	d.effectiveS *= 1 - excised/float64(len(gap))
}

// reach is a line and how far beside it there is more than noise, in hertz.
type reach struct{ hz, beside float64 }

// bridge fills psd from start to end. At the ends of the spectrum, where one
// side is missing, the other is carried over.
func bridge(psd []float64, gap []bool, start, end int) {
	below, okBelow := beside(psd, gap, start-1, -1)
	above, okAbove := beside(psd, gap, end, 1)
	switch {
	case !okBelow && !okAbove:
		return
	case !okBelow:
		below = above
	case !okAbove:
		above = below
	}
	for k := start; k < end; k++ {
		psd[k] = below.mean
		if above.at > below.at {
			psd[k] += (float64(k) - below.at) / (above.at - below.at) * (above.mean - below.mean)
		}
	}
}

// shore is the mean of a few bins and where their middle is.
type shore struct{ at, mean float64 }

// beside averages up to bridgeBins bins from k on in direction step, as far
// as no gap lies there.
func beside(psd []float64, gap []bool, k, step int) (s shore, ok bool) {
	n := 0.0
	for ; n < bridgeBins && k > 0 && k < len(psd) && !gap[k]; k += step {
		s.mean += psd[k]
		s.at += float64(k)
		n++
	}
	if n == 0 {
		return shore{}, false
	}
	return shore{s.at / n, s.mean / n}, true
}
