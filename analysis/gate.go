package analysis

import (
	"math"

	"boardproof/testsignals"
)

// gate is a window over an impulse response, from and to in seconds, 0 being
// the arrival of the signal.
//
// It is applied in the frequency domain, where multiplying an impulse
// response by a window is convolving its spectrum with the window's
// transform. Tapering that transform to ±reach hertz makes the window's edges
// soft and keeps each reading to the bins around it, clear of the edge of the
// sweep's band; and the result is had at any frequency, not only at bins.
type gate struct {
	from, to float64
	// taper is the shape of the Kaiser window that tapers the gate's transform.
	taper float64
}

const (
	// With sharpTaper what a gate lets in outside falls below 1e-4, and its height
	// inside is constant to 4e-4.
	sharpTaper = 8.0
	// With quietTaper a gate beside a response lets in less than 1e-7 of it: one that
	// is to see noise must not. Its edges are softer for that.
	quietTaper = 14.0
)

// quiet is g for what is not the response.
func (g gate) quiet() gate { return gate{g.from, g.to, quietTaper} }

func (g gate) centre() float64 { return (g.from + g.to) / 2 }

func (g gate) length() float64 { return g.to - g.from }

// edge is how far each side of from and to the window takes to rise, in
// seconds, for a transform that reaches reachHz: where the Kaiser window's own
// transform has its first zero, and a quarter more.
func (g gate) edge(reachHz float64) float64 {
	return 1.25 * math.Hypot(g.taper, math.Pi) / (2 * math.Pi * reachHz)
}

// weighting is a gate's kernel at the bins from first on, and the power that comes
// through it of noise whose density is as the frequency.
type weighting struct {
	weights []float64
	first   int
	power   float64
}

// weighting returns the kernel for frequency f. It is scaled so that the
// window's height at time 0 is exactly 1.
func (g gate) weighting(binHz, f, reachHz float64) weighting {
	first := int(math.Ceil((f - reachHz) / binHz))
	last := int(math.Floor((f + reachHz) / binHz))
	w := make([]float64, last-first+1)
	height, taper := 0.0, tapers[g.taper]
	// Sine and cosine turn by the same angle from bin to bin. Near 0 the sine
	// would be left with its rounding only.
	d, least := f-float64(first)*binHz, 0.05/g.length()
	side, stepSide := cis(math.Pi*d*g.length()), cis(-math.Pi*binHz*g.length())
	mid, stepMid := cis(2*math.Pi*d*g.centre()), cis(-2*math.Pi*binHz*g.centre())
	for i := range w {
		d = f - float64(first+i)*binHz
		sinc := imag(side) / (math.Pi * d * g.length())
		if math.Abs(d) < least {
			sinc = testsignals.Sinc(d * g.length())
		}
		w[i] = sinc * taperAt(taper, sq(d/reachHz))
		height += w[i] * real(mid)
		side, mid = side*stepSide, mid*stepMid
	}
	power := 0.0
	for i := range w {
		w[i] /= height
		power += w[i] * w[i] * math.Abs(float64(first+i))
	}
	return weighting{w, first, power * binHz}
}

// taperSteps is how finely tapers are tabled: interpolated they are right to 1e-11.
const taperSteps = 2048

// tapers are Kaiser windows over the square of the distance from their middle, 1 at
// their ends, of which they are smooth functions, from one step before 0.
var tapers = map[float64][]float64{sharpTaper: tableTaper(sharpTaper), quietTaper: tableTaper(quietTaper)}

func tableTaper(shape float64) []float64 {
	table := make([]float64, taperSteps+4)
	for i := range table {
		table[i] = testsignals.BesselI0OfSquare(sq(shape) * (1 - float64(i-1)/taperSteps))
	}
	return table
}

// taperAt interpolates a table of tapers by a cubic through four values.
func taperAt(table []float64, square float64) float64 {
	at := math.Min(1, square) * taperSteps
	i := int(at)
	x, y := at-float64(i), table[i:i+4]
	return -y[0]*x*(x-1)*(x-2)/6 + y[1]*(x+1)*(x-1)*(x-2)/2 - y[2]*(x+1)*x*(x-2)/2 + y[3]*(x+1)*x*(x-1)/6
}

// apply writes to dst, for each of shifts, the transform of an impulse
// response with spectrum spec, seen through the gate of these weights moved by
// shift seconds. f is the frequency the weights are for; phases refer to time 0
// of the response, moved likewise. scratch is as long as w at least.
func (g gate) apply(dst []complex128, spec []complex128, binHz, f float64, w weighting, shifts []float64, scratch []complex128) {
	weighted := scratch[:len(w.weights)]
	for i, v := range w.weights {
		weighted[i] = scale(v, hermitian(spec, w.first+i))
	}
	back := cis(-2 * math.Pi * f * g.centre())
	for j := 0; j < len(shifts); j += 3 {
		var step, turn [3]complex128
		for i := range step {
			cycles := binHz * (g.centre() + shifts[min(j+i, len(shifts)-1)])
			step[i], turn[i] = cis(2*math.Pi*cycles), cis(2*math.Pi*float64(w.first)*cycles)
		}
		for i, z := range polynomials(weighted, step) {
			if j+i < len(shifts) {
				dst[j+i] = z * turn[i] * back
			}
		}
	}
}

// polynomials returns Σ c[i]·x^i for three x, by Horner's rule. Three at once keep
// the processor busy while each waits for its step before.
func polynomials(c []complex128, x [3]complex128) [3]complex128 {
	var p, q, r complex128
	for i := len(c) - 1; i >= 0; i-- {
		p = p*x[0] + c[i]
		q = q*x[1] + c[i]
		r = r*x[2] + c[i]
	}
	return [3]complex128{p, q, r}
}

// hermitian returns bin k of the spectrum of a real signal, of which spec
// holds the bins from 0 to half; beyond half it is taken as zero.
func hermitian(spec []complex128, k int) complex128 {
	switch {
	case k >= len(spec) || -k >= len(spec):
		return 0
	case k < 0:
		return complex(real(spec[-k]), -imag(spec[-k]))
	}
	return spec[k]
}

func cis(phase float64) complex128 {
	s, c := math.Sincos(phase)
	return complex(c, s)
}

func scale(a float64, z complex128) complex128 { return complex(a*real(z), a*imag(z)) }
