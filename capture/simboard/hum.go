package simboard

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// maxHarmonic is the highest harmonic of the mains that is modelled.
const maxHarmonic = 200

// Hum is what couples the mains into one place: an output, where the voltages
// come in series with it at the interface's terminals, a device, or the input.
// Each kind may be absent.
type Hum struct {
	GroundLoop *GroundLoop
	Magnetic   *Magnetic
	Ripple     *Ripple
	Electric   *Electric
	Dimmer     *Dimmer
	// Swing is how all of it comes and goes; nil is steady.
	Swing *Swing
}

// Magnetic is pick-up from the field of a current: a voltage that is its
// derivative, so each harmonic comes up in proportion to its frequency.
type Magnetic struct {
	AmpsRMS      float64 // fundamental
	MutualHenrys float64
	PhaseRad     float64
	// AngleDeg lies between the field and the axis of the loop that picks it
	// up, in the plane that the board is turned in; the voltage goes with its
	// cosine, but for UprightShare of MutualHenrys, which is the field's
	// upright part and does not change as the board is turned.
	AngleDeg     float64
	UprightShare float64
	// From is whose transformer makes the field: BoardSupply, which turns
	// with the board, the name of a device, for the adapter that feeds it, or
	// "" for something else in the room.
	From string
	// Lines are the current's; nil is the usual distortion.
	Lines []Harmonic

	turned bool
}

// BoardSupply is the board's own supply.
const BoardSupply = "board supply"

// coupling is what orientation leaves of MutualHenrys.
func (m *Magnetic) coupling() float64 {
	angle := m.AngleDeg
	if m.turned && m.From != BoardSupply {
		angle += 90
	}
	return m.UprightShare + (1-m.UprightShare)*math.Cos(angle*math.Pi/180)
}

// Ripple is what is left on a supply outlet by a full-wave rectifier with a
// reservoir capacitor and a constant load current, and gets through.
type Ripple struct {
	PeakVolts       float64 // of the rectified sine
	ReservoirFarads float64
	LoadAmps        float64
	// RejectionDB is how far under the ripple the hum at the output is.
	RejectionDB float64
	// Lean is by how much every other half cycle's peak is higher, relative
	// to PeakVolts: the transformer's halves or the diodes differ.
	Lean float64
	// PhaseRad is that of the transformer's sine.
	PhaseRad float64
}

// Electric is pick-up by stray capacitance from a mains conductor to a node.
type Electric struct {
	MainsVoltsRMS float64
	StrayFarads   float64
	NodeOhms      float64
	PhaseRad      float64
	// Lines are the mains voltage's; nil is the usual distortion.
	Lines []Harmonic
}

// Dimmer is the same from a conductor behind a phase-cut dimmer.
type Dimmer struct {
	MainsVoltsRMS float64
	// FiringDeg is where in each half cycle the dimmer turns on, 0 to 180.
	FiringDeg   float64
	StrayFarads float64
	NodeOhms    float64
	// PhaseRad is that of the mains at the dimmer.
	PhaseRad float64
}

// comb holds the RMS phasor of each harmonic at its number; the voltage is
// √2·Re Σ comb[n]·exp(j·n·phase), where the mains itself is √2·V·sin(phase).
type comb [maxHarmonic + 1]complex128

// Distortion of the mains voltage, and of the current that rectifiers draw,
// relative to the fundamental. Invented, within what EN 50160 allows for the
// voltage (3rd 5 %, 5th 6 %, 7th 5 %; from memory) and of the order usual for
// small supplies for the current.
var (
	voltageDistortion = []Harmonic{{1, 1, 0}, {3, 0.012, 2.9}, {5, 0.023, 0.4}, {7, 0.014, 3.3}, {9, 0.004, 1}, {11, 0.006, 5}, {13, 0.004, 2}}
	currentDistortion = []Harmonic{{1, 1, 0}, {2, 0.01, 1}, {3, 0.48, 3.0}, {5, 0.27, 0.2}, {7, 0.14, 3.5}, {9, 0.06, 0.8},
		{11, 0.045, 3.9}, {13, 0.03, 1.4}, {15, 0.02, 4.4}, {17, 0.015, 2}, {19, 0.01, 5}, {23, 0.006, 1}, {29, 0.003, 3}}
)

func (h *Hum) comb(mainsHz float64) comb {
	var c comb
	if g := h.GroundLoop; g != nil {
		c.add(orUsual(g.Lines, currentDistortion), func(n int) complex128 { return g.volts(float64(n) * mainsHz) }, g.PhaseRad)
	}
	if m := h.Magnetic; m != nil {
		couples := m.coupling()
		c.add(orUsual(m.Lines, currentDistortion), func(n int) complex128 {
			return complex(0, 2*math.Pi*float64(n)*mainsHz*m.MutualHenrys*m.AmpsRMS*couples)
		}, m.PhaseRad)
	}
	if e := h.Electric; e != nil {
		c.add(orUsual(e.Lines, voltageDistortion), func(n int) complex128 {
			return complex(e.MainsVoltsRMS, 0) * stray(float64(n)*mainsHz, e.StrayFarads, e.NodeOhms)
		}, e.PhaseRad)
	}
	if r := h.Ripple; r != nil {
		r.addTo(&c, mainsHz)
	}
	if d := h.Dimmer; d != nil {
		for n := 1; n <= maxHarmonic; n += 2 {
			c[n] += complex(d.MainsVoltsRMS, 0) * phaseCut(d.FiringDeg*math.Pi/180, n) *
				stray(float64(n)*mainsHz, d.StrayFarads, d.NodeOhms) * turnedBy(n, d.PhaseRad)
		}
	}
	return c
}

// turnedBy is what a phase of the fundamental does to harmonic n.
func turnedBy(n int, phaseRad float64) complex128 { return cmplx.Rect(1, float64(n)*phaseRad) }

func orUsual(lines, usual []Harmonic) []Harmonic {
	if lines == nil {
		return usual
	}
	return lines
}

// add puts in the harmonics of a distorted sine, each through its coupling.
func (c *comb) add(lines []Harmonic, coupling func(n int) complex128, phaseRad float64) {
	for _, l := range lines {
		sine := cmplx.Rect(l.VoltsRMS, l.PhaseRad+float64(l.N)*phaseRad-math.Pi/2)
		c[l.N] += sine * coupling(l.N)
	}
}

// stray is the divider of a stray capacitance into a resistance to ground.
func stray(fHz, farads, ohms float64) complex128 {
	x := complex(0, 2*math.Pi*fHz*farads*ohms)
	return x / (1 + x)
}

// phaseCut is harmonic n, odd, of a sine that is off from each zero crossing
// to the firing angle, relative to the whole sine's amplitude: the Fourier
// integral 2/π·∫ sin θ·exp(-jnθ) dθ from the angle to π.
func phaseCut(angle float64, n int) complex128 {
	if n == 1 {
		s := math.Sin(angle)
		return complex(-s*s/math.Pi, -(math.Pi-angle+math.Sin(2*angle)/2)/math.Pi)
	}
	k := float64(n)
	primitive := func(t float64) complex128 {
		return cmplx.Rect(1, -k*t) * complex(-math.Cos(t), -k*math.Sin(t)) / complex(1-k*k, 0)
	}
	return complex(2/math.Pi, 0) * (primitive(math.Pi) - primitive(angle))
}

// rippleSteps divide one mains cycle.
const rippleSteps = 16384

// addTo computes the outlet's waveform step by step, diodes ideal: the
// reservoir follows the rectified sine up and falls by the load's current
// when the sine falls faster. Two cycles reach the steady state.
func (r *Ripple) addTo(c *comb, mainsHz float64) {
	wave := make([]float64, rippleSteps)
	fall := math.Inf(1)
	if r.ReservoirFarads > 0 {
		fall = r.LoadAmps / r.ReservoirFarads / mainsHz / rippleSteps
	}
	v := r.PeakVolts
	for i := range 2 * rippleSteps {
		peak := r.PeakVolts
		if i%rippleSteps < rippleSteps/2 {
			peak *= 1 + r.Lean
		}
		rectified := peak * math.Abs(math.Sin(2*math.Pi*float64(i)/rippleSteps))
		v = math.Max(rectified, v-fall)
		wave[i%rippleSteps] = v
	}
	lines := fourier.NewFFT(rippleSteps).Coefficients(nil, wave)
	gain := math.Pow(10, -r.RejectionDB/20) * math.Sqrt2 / rippleSteps
	for n := 1; n <= maxHarmonic; n++ {
		c[n] += lines[n] * complex(gain, 0) * turnedBy(n, r.PhaseRad)
	}
}

// own is the comb of an input's own hum.
func (in *Input) own() comb {
	var c comb
	for _, h := range in.Hum {
		c[h.N] += h.sine()
	}
	return c
}

func (h Harmonic) sine() complex128 { return cmplx.Rect(h.VoltsRMS, h.PhaseRad-math.Pi/2) }

func (c *comb) plus(o comb) comb {
	sum := *c
	for n := range sum {
		sum[n] += o[n]
	}
	return sum
}
