package simboard

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// knotS is the time between the frequencies of a mains track, in seconds.
const knotS = 0.1

// track is the mains phase over one take, for all that shares it. Between
// knots the frequency is linear in time.
type track struct {
	hz     []float64 // at each knot
	cycles []float64 // phase at each knot, in cycles
	// wanderHz is how far the random walk has come.
	wanderHz float64
}

func newTrack(m Mains, seconds float64, rng *rand.Rand) track {
	t := track{hz: []float64{m.StartHz}, cycles: []float64{rng.Float64()}}
	t.extend(m, seconds, rng)
	return t
}

// extend carries the track on to a time from its start.
func (t *track) extend(m Mains, seconds float64, rng *rand.Rand) {
	n := int(seconds/knotS) + 2
	for i := len(t.hz); i < n; i++ {
		t.wanderHz += m.WanderHzPerRootS * math.Sqrt(knotS) * rng.NormFloat64()
		t.hz = append(t.hz, m.StartHz+m.DriftHzPerS*float64(i)*knotS+t.wanderHz)
		t.cycles = append(t.cycles, t.cycles[i-1]+knotS*(t.hz[i]+t.hz[i-1])/2)
	}
}

// at returns the phase in cycles after a time from the start of the take.
func (t *track) at(seconds float64) float64 {
	i := min(int(seconds/knotS), len(t.hz)-2)
	s := seconds - float64(i)*knotS
	return t.cycles[i] + s*(t.hz[i]+s*(t.hz[i+1]-t.hz[i])/(2*knotS))
}

// hzAt returns the frequency after a time from the start of the take.
func (t *track) hzAt(seconds float64) float64 {
	i := min(int(seconds/knotS), len(t.hz)-2)
	return t.hz[i] + (seconds/knotS-float64(i))*(t.hz[i+1]-t.hz[i])
}

// cycleSteps is the resolution of one cycle in a table: 82 points to the
// highest harmonic, which cubic interpolation gives to about 1e-6 of itself.
const cycleSteps = 16384

// addHum adds hum to x through the response of an input. x begins first frames
// after the track does, and startS of the bench's time is the track's start.
func (t *track) addHum(x []float64, all []swung, in *Input, first int, rateHz, startS float64) {
	for _, h := range all {
		if h.swing == nil {
			t.addComb(x, h.comb, in, first, rateHz)
			continue
		}
		alone := make([]float64, len(x))
		t.addComb(alone, h.comb, in, first, rateHz)
		h.swing.run(alone, startS+float64(first)/rateHz, rateHz)
		for i, v := range alone {
			x[i] += v
		}
	}
}

// addComb adds a comb to x, whose frame 0 is first frames into the track,
// through the response of an input; lines above half the rate are left out.
func (t *track) addComb(x []float64, c comb, in *Input, first int, rateHz float64) {
	lines := make([]complex128, cycleSteps/2+1)
	any := false
	for n := 1; n <= maxHarmonic; n++ {
		f := float64(n) * t.hz[0]
		if c[n] == 0 || f >= rateHz/2 {
			continue
		}
		any = true
		lines[n] = c[n] * in.response(f, rateHz) * math.Sqrt2 / 2
	}
	if !any {
		return
	}
	table := fourier.NewFFT(cycleSteps).Sequence(nil, lines)
	// One entry before and two after spare the wrap in the loop.
	table = append(append([]float64{table[cycleSteps-1]}, table...), table[0], table[1])
	for i := range x {
		cycle := t.at(float64(first+i) / rateHz)
		at := (cycle - math.Floor(cycle)) * cycleSteps
		k := min(int(at), cycleSteps-1)
		p := table[k : k+4]
		x[i] += cubic(p[0], p[1], p[2], p[3], at-float64(k))
	}
}

// toneBlock is how many frames share one step of a tone's phase jitter.
const toneBlock = 64

// oscillator makes a line of its own. A random walk of the phase with variance
// 2π·linewidth per second gives a Lorentzian line of that full width at half
// maximum.
type oscillator struct {
	tone     Tone
	phaseRad float64
	rng      *rand.Rand
}

func newOscillator(t Tone, rng *rand.Rand) *oscillator {
	return &oscillator{t, 2 * math.Pi * rng.Float64(), rng}
}

// add adds the oscillator's next frames to x through the response of an input.
func (o *oscillator) add(x []float64, in *Input, rateHz float64) {
	jitter := math.Sqrt(2 * math.Pi * o.tone.LinewidthHz * toneBlock / rateHz)
	amplitude := o.tone.VoltsRMS * math.Sqrt2 * cmplx.Abs(in.response(o.tone.FrequencyHz, rateHz))
	for start := 0; start < len(x); start += toneBlock {
		block := x[start:min(start+toneBlock, len(x))]
		step := 2*math.Pi*o.tone.FrequencyHz/rateHz + jitter*o.rng.NormFloat64()/toneBlock
		z, turn := cmplx.Rect(amplitude, o.phaseRad), cmplx.Rect(1, step)
		for i := range block {
			block[i] += imag(z)
			z *= turn
		}
		o.phaseRad = math.Mod(o.phaseRad+step*float64(len(block)), 2*math.Pi)
	}
}
