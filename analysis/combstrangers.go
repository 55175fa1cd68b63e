package analysis

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	// mostStrangers is how often lines that are not the mains's are taken off
	// and the comb is looked for again.
	mostStrangers = 8
	// strangerPower over noise is where a lone line is no chance of the noise,
	// and strangerShare of the strongest line's power is enough to lead the
	// search astray.
	strangerPower = 20.0
	strangerShare = 0.03
	// strangerReachHz is how near to a comb's line one stands that led there.
	strangerReachHz = 2.0
)

// takeStrangers takes off the record the lone lines that led the search to
// where f begins. It says whether there were any: then f is worth nothing.
func (f *combFit) takeStrangers() bool {
	s, hz := f.s, f.phase.slope()*float64(f.s.stride)*f.s.rateHz
	if s.asItIs {
		return false
	}
	f.solve(roughShare)
	powers, any := f.powers(), false
	least := math.Max(strangerPower, strangerShare*slices.Max(powers))
	for h, lone := range f.lone(powers) {
		if lone && powers[h] > least {
			any = true
			s.takeOff(float64(h) * hz)
		}
	}
	clear(f.amps)
	return any
}

// takeOff takes the strongest line near hz off the record.
func (s *mainsSearch) takeOff(hz float64) {
	s.x = slices.Clone(s.x)
	for _, sp := range s.spans {
		x := s.x[sp.Start:sp.End]
		psd, binHz := periodogram(x, s.rateHz)
		from, to := max(1, int((hz-strangerReachHz)/binHz)), min(int((hz+strangerReachHz)/binHz)+2, len(psd)-1)
		best := from
		for k := from; k < to; k++ {
			if psd[k] > psd[best] {
				best = k
			}
		}
		at := (float64(best) + hannOffset(psd[best-1], psd[best], psd[best+1])) * binHz
		if slices.ContainsFunc(s.taken, func(taken float64) bool { return math.Abs(taken-at) < strangerReachHz }) {
			notch(x, at/s.rateHz, int(notchS*s.rateHz))
			continue
		}
		s.taken = append(s.taken, fitTone(x, s.rateHz, tonePeak{hz: at}).FrequencyHz.Value)
	}
}

// notchS is how long a line that jitters is taken for steady: what is within
// 1 Hz of it goes but for 50 dB, what is 8 Hz off stays.
const notchS = 0.125

// notch takes off x what is near a frequency, in cycles per sample, as a mean over
// n samples sees it.
func notch(x []float64, cycles float64, n int) {
	z := make([]complex128, len(x))
	for range 2 {
		turn := newTurning(2*math.Pi*cycles, len(x))
		for i, v := range x {
			z[i] = complex(v, 0) * cmplx.Conj(turn.at(i))
		}
		near := movingMean(movingMean(z, n/2), n/2)
		turn = newTurning(2*math.Pi*cycles, len(x))
		for i := range x {
			x[i] -= 2 * real(near[i]*turn.at(i))
		}
	}
}

// movingMean is the mean of z over half to either side, as far as there is any.
func movingMean(z []complex128, half int) []complex128 {
	sums := make([]complex128, len(z)+1)
	for i, v := range z {
		sums[i+1] = sums[i] + v
	}
	out := make([]complex128, len(z))
	for i := range out {
		from, to := max(0, i-half), min(len(z), i+half+1)
		out[i] = (sums[to] - sums[from]) / complex(float64(to-from), 0)
	}
	return out
}

// strangers says at which harmonics another line stands: a lone one, or
// one that was taken off so near that what is left of the harmonic is not all
// of it.
func (f *combFit) strangers() []bool {
	powers := f.powers()
	out := f.lone(powers)
	hz := f.phase.slope() * float64(f.s.stride) * f.s.rateHz
	for h := range out {
		out[h] = out[h] && powers[h] > strangerPower || slices.ContainsFunc(f.s.taken, func(taken float64) bool {
			return math.Abs(taken-float64(h)*hz) < sharedBins/(2*f.s.halfS)
		})
	}
	return out
}

// sharedBins over the length of a record is how far apart two lines must be to
// be told from one another.
const sharedBins = 1.5
