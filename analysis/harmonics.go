package analysis

import (
	"math"
	"math/cmplx"

	"boardproof/testsignals"
)

// harmonicGate is the window over one harmonic's response; it must be shorter
// than the distance between the highest two that are read;
// through a sharp one the linear response would stand out of the noise.
var harmonicGate = gate{from: -0.012, to: 0.03, taper: quietTaper}

const harmonicReachHz = 250.0

// maxSweepHarmonic is the highest order read from a sweep: beyond it the
// responses of a 5 s sweep crowd together.
const maxSweepHarmonic = 5

// harmonicStep is how many points of the grid lie between two at which
// harmonics are given: a third of an octave.
const harmonicStep = pointsPerOctave / 3

// harmonicsFromHz is the lowest fundamental at which harmonics are given.
const harmonicsFromHz = 40.0

// harmonicLeadS is how long before the linear response that of harmonic n
// arrives: L·ln n (Novak, Lotton & Simon, JAES 63(10), 2015).
func (r *Raw) harmonicLeadS(n int) float64 {
	return testsignals.SweepRate(r.played.sig.Spec) * math.Log(float64(n))
}

// Harmonics returns, for orders 2 to 5, the level of the harmonic in dB
// relative to the fundamental at the output, against the frequency of the
// fundamental in hertz. linear must be the response of the same recording.
// Uncertainty is expanded; a point where nothing stands out of the noise, or of what
// the pilot tones make on a curved board, is an upper bound.
func (r *Raw) Harmonics(linear *Gated) []Curve {
	var curves []Curve
	known := linear.known()
	for n := 2; n <= maxSweepHarmonic; n++ {
		c := Curve{Quantity: HarmonicLevel, Harmonic: n, Unit: "dB"}
		for i, f := range linear.FrequencyHz {
			fn := f * float64(n)
			// Over a fundamental under the noise it may be anything.
			if i%harmonicStep != 0 || known[i] != isFigure || f < harmonicsFromHz || fn > linear.FrequencyHz[len(linear.FrequencyHz)-1] {
				continue
			}
			ratio, std, bound := r.harmonicRatio(n, fn, linear.H[i])
			if product := r.pilotProduct(n, f, linear.H[i]); ratio < 3*product {
				ratio, std, bound = ratio+product, 0, true
			} else {
				std = math.Hypot(std, product/math.Sqrt2)
			}
			c.FrequencyHz = append(c.FrequencyHz, f)
			c.Value = append(c.Value, DB(ratio))
			c.Uncertainty = append(c.Uncertainty, CoverageK*DBFromRelative(std/ratio))
			c.UpperBound = append(c.UpperBound, bound)
		}
		if len(c.Value) > 0 {
			curves = append(curves, c)
		}
	}
	return curves
}

// harmonicHeard is how many times the noise, in power, a harmonic must be to be read:
// noise alone is that in one of ten thousand points.
const harmonicHeard = 9.0

// harmonicRatio reads harmonic n at fn hertz over the fundamental h. One that does not
// stand out of its own noise is given as a bound, which holds in 97.5 % or more:
// what was read and two standard uncertainties.
func (r *Raw) harmonicRatio(n int, fn float64, h complex128) (ratio, std float64, bound bool) {
	reach := math.Min(reachShare*fn, harmonicReachHz)
	shifts := append([]float64{-r.harmonicLeadS(n)}, r.quietShifts(harmonicGate, reach)...)
	all := r.through(harmonicGate, fn, reach, shifts)
	noise := 0.0
	for _, z := range all[1:] {
		noise += sqAbs(z) / float64(len(all)-1)
	}
	m, power := cmplx.Abs(h), sqAbs(all[0])
	std = math.Sqrt(noise/2) / m
	if power < harmonicHeard*noise {
		return math.Sqrt(power)/m + CoverageK*std, 0, true
	}
	return math.Sqrt(power-noise) / m, std, false
}

// productS is how near in time, either way, a product of a pilot and the sweep comes
// to the gate of a harmonic and is still in it.
const productS = 0.05

// pilotProduct is the most that the products of a pilot and the sweep on a curved board
// make of harmonic n where the sweep is at f, relative to the fundamental h: while the
// sweep passes the frequency at which k·f and the pilot add up to n·f, or differ by it.
// Of a curve of order m each is m times as strong as its harmonic times the pilot over
// the sweep (binomial theorem), and the slower it sweeps, as k·f against n·f, the more
// of it is at one frequency.
func (r *Raw) pilotProduct(n int, f float64, h complex128) float64 {
	spec := r.played.sig.Spec
	if spec.PilotBelowDB == 0 {
		return 0
	}
	power := 0.0
	for k := 1; k < maxSweepHarmonic && f*float64(k+1) < gridTopShare*float64(r.played.sig.RateHz); k++ {
		for _, pilot := range testsignals.PilotsHz {
			for _, apart := range []int{n - k, n + k, k - n} {
				if apart < 1 || testsignals.SweepRate(spec)*math.Abs(math.Log(f*float64(apart)/pilot)) > productS {
					continue
				}
				m := k + 1
				harmonic, _, _ := r.harmonicRatio(m, f*float64(m), h)
				power += sq(float64(m)*harmonic) * float64(n) / float64(k)
			}
		}
	}
	return math.Sqrt(power) * math.Pow(10, -spec.PilotBelowDB/20)
}
