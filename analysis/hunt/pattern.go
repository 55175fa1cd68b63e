package hunt

import (
	"math"
	"math/cmplx"
)

// template is what a cause foretells of the comb for one choice of what is not
// known of it: each line's level relative to its strongest one in dB, and how
// far from that it may be, as a standard deviation. It goes with numbers.
type template struct{ db, spread, power []float64 }

// combCauses bring lines of the mains.
var combCauses = []string{GroundLoop, Magnetic, Ripple, Electric, Dimmer}

// shape is what is not known of a distorted current: how much more distorted it
// is than usual, in dB, and from which harmonic on its lines fall off: pulses
// have a flat spectrum up to about the inverse of their width, and above that
// one that falls with the square of frequency.
type shape struct{ severityDB, knee float64 }

// shapes are tried for a cause alone, fewShapes for each of two causes: two
// together fit almost anything, so that it need not be fine.
var (
	shapes    = everyShape([]float64{-18, -10, -3, 4, 10}, []float64{2, 4, 7, 14})
	fewShapes = everyShape([]float64{-12, 0, 8}, []float64{3, 8})
)

func everyShape(severities, knees []float64) []shape {
	var out []shape
	for _, d := range severities {
		for _, k := range knees {
			out = append(out, shape{d, k})
		}
	}
	return out
}

// manyTemplates and fewTemplates are made once, by cause.
var manyTemplates, fewTemplates = map[string][]template{}, map[string][]template{}

func init() {
	for _, c := range append([]string{unexplained}, combCauses...) {
		manyTemplates[c] = newTemplates(c, shapes)
		fewTemplates[c] = newTemplates(c, fewShapes)
	}
}

// newTemplates lists what a cause may look like. unexplained is any comb at all.
func newTemplates(cause string, shapes []shape) []template {
	var out []template
	switch cause {
	case GroundLoop:
		for _, x := range shapes {
			out = append(out, newTemplate(func(n int) (float64, float64) { return current(n, x) }))
		}
	case Magnetic:
		for _, x := range shapes {
			out = append(out, newTemplate(func(n int) (float64, float64) {
				db, spread := current(n, x)
				return db + 20*math.Log10(float64(n)), spread
			}))
		}
	case Electric:
		for _, d := range []float64{-14, -4, 6} {
			for _, corner := range []float64{6, 1e9} {
				out = append(out, newTemplate(func(n int) (float64, float64) {
					db, spread := voltage(n, d)
					return db + rising(n, corner), spread
				}))
			}
		}
	case Ripple:
		for _, power := range []float64{0.3, 0.7, 1, 1.4, 2} {
			for _, odd := range []float64{-45, -25, 0} {
				out = append(out, newTemplate(func(n int) (float64, float64) { return rectified(n, power, odd) }))
			}
		}
	case Dimmer:
		for _, deg := range []float64{30, 60, 90, 120, 150} {
			for _, corner := range []float64{0.1, 60} {
				out = append(out, newTemplate(func(n int) (float64, float64) {
					db, spread := phaseCut(n, deg*math.Pi/180)
					return db + rising(n, corner), spread
				}))
			}
		}
	case unexplained:
		for _, slope := range []float64{5, 15, 25} {
			out = append(out, newTemplate(func(n int) (float64, float64) { return -slope * math.Log10(float64(n)), 12 }))
		}
	}
	return out
}

// unexplained stands for a comb of no known cause.
const unexplained = "unexplained"

func newTemplate(of func(n int) (db, spread float64)) template {
	t := template{make([]float64, len(numbers)), make([]float64, len(numbers)), make([]float64, len(numbers))}
	most := math.Inf(-1)
	for i, n := range numbers {
		t.db[i], t.spread[i] = of(n)
		most = math.Max(most, t.db[i])
	}
	for i := range t.db {
		t.db[i] -= most
		t.power[i] = powerOf(t.db[i])
	}
	return t
}

// rising is a first-order high-pass, what a stray capacitance makes with the
// resistance of a node, with its corner at a harmonic.
func rising(n int, corner float64) float64 {
	r := float64(n) / corner
	return 20*math.Log10(float64(n)) - 10*math.Log10(1+r*r)
}

// current is a mains current as rectifiers and other loads draw it, relative to
// its fundamental: odd harmonics that fall off beyond a knee, hardly any even
// ones. The spread is wide, for no two houses are alike (common
// practice; IEC 61000-3-2 allows a small supply 3.4 mA/W of the 3rd, 1.9 of the
// 5th, 1.0 of the 7th, from memory).
func current(n int, x shape) (db, spread float64) {
	switch {
	case n == 1:
		return 0, 0.5
	case n%2 == 0:
		return -38 + x.severityDB/2 + falling(n, x.knee), 8
	}
	return -10 + x.severityDB + falling(n, x.knee), 6
}

// falling is a second-order roll-off from a harmonic on.
func falling(n int, knee float64) float64 {
	r := float64(n) / knee
	return -10 * math.Log10(1+r*r*r*r)
}

// voltage is the mains voltage: a few per cent of the 5th and 7th, less of the
// 3rd, little above (EN 50160 allows 6 % of the 5th, 5 % of the 3rd and the
// 7th, 1.5 % of the 9th, 3.5 % of the 11th, 3 % of the 13th; from memory), and
// most places have a third of that.
func voltage(n int, severityDB float64) (db, spread float64) {
	switch {
	case n == 1:
		return 0, 0.5
	case n%2 == 0:
		return -58 - 10*math.Log10(float64(n)/2) + severityDB, 9
	case n <= 7:
		return -34 + severityDB, 8
	}
	return -44 - 25*math.Log10(float64(n)/11) + severityDB, 9
}

// rectified is what a full-wave rectifier leaves on its reservoir: lines at
// twice the mains and all multiples of that, falling as a power of their number:
// 1 for a sawtooth, 2 where the rectifier conducts long, less where a regulator
// lets more through the higher the frequency. Odd lines come from halves that
// are not alike; at an oddDB of 0 only every other one fills the reservoir.
func rectified(n int, power, oddDB float64) (db, spread float64) {
	db = -20 * power * math.Log10(float64(n)/2)
	if n%2 == 1 {
		return db + oddDB, 8
	}
	return db, 4
}

// phaseCut is a sine that is off from each zero crossing to an angle: odd
// lines only, 2/π·∫ sin θ·exp(−jnθ) dθ from the angle to π. Near a null of the
// series what is not ideal fills it.
func phaseCut(n int, angle float64) (db, spread float64) {
	edge := 2 / math.Pi * math.Sin(angle) / float64(n)
	if n%2 == 0 {
		return 20*math.Log10(edge) - 40, 10
	}
	var c complex128
	if n == 1 {
		s := math.Sin(angle)
		c = complex(-s*s/math.Pi, -(math.Pi-angle+math.Sin(2*angle)/2)/math.Pi)
	} else {
		k := float64(n)
		primitive := func(t float64) complex128 {
			return cmplx.Rect(1, -k*t) * complex(-math.Cos(t), -k*math.Sin(t)) / complex(1-k*k, 0)
		}
		c = complex(2/math.Pi, 0) * (primitive(math.Pi) - primitive(angle))
	}
	return 20 * math.Log10(math.Hypot(cmplx.Abs(c), 0.2*edge)), 3
}
