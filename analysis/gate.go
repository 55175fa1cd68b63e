package analysis

import "math"

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
}

// gateTaper is the shape of the Kaiser window that tapers a gate's transform:
// what the gate lets in outside falls below 1e-4, its height inside is
// constant to 4e-4.
const gateTaper = 8.0

func (g gate) centre() float64 { return (g.from + g.to) / 2 }

func (g gate) length() float64 { return g.to - g.from }

// edge is how far each side of from and to the window takes to rise, in
// seconds, for a transform that reaches reachHz.
func (g gate) edge(reachHz float64) float64 { return 1.7 / reachHz }

// weighting is a gate's kernel at the bins from first on.
type weighting struct {
	weights []float64
	first   int
}

// weighting returns the kernel for frequency f. It is scaled so that the
// window's height at time 0 is exactly 1.
func (g gate) weighting(binHz, f, reachHz float64) weighting {
	first := int(math.Ceil((f - reachHz) / binHz))
	last := int(math.Floor((f + reachHz) / binHz))
	w := make([]float64, last-first+1)
	height := 0.0
	for i := range w {
		d := f - float64(first+i)*binHz
		w[i] = sincPi(d*g.length()) * besselI0(gateTaper*math.Sqrt(math.Max(0, 1-sq(d/reachHz))))
		height += w[i] * math.Cos(2*math.Pi*d*g.centre())
	}
	for i := range w {
		w[i] /= height
	}
	return weighting{w, first}
}

func sincPi(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// besselI0 is the modified Bessel function of the first kind, order 0, by its
// power series.
func besselI0(x float64) float64 {
	sum, term, q := 1.0, 1.0, x*x/4
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
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
	for j := 0; j < len(shifts); j += 2 {
		a, b := shifts[j], shifts[min(j+1, len(shifts)-1)]
		za, zb := turnedSums(weighted, g.centre()+a, g.centre()+b, binHz, float64(w.first))
		dst[j] = za * cis(-2*math.Pi*f*g.centre())
		if j+1 < len(shifts) {
			dst[j+1] = zb * cis(-2*math.Pi*f*g.centre())
		}
	}
}

// turnedSums returns Σ v·e^(j2π(first+i)·binHz·t) for two times t. Two at once
// keep the processor busy while each turn waits for the one before.
func turnedSums(weighted []complex128, ta, tb, binHz, first float64) (a, b complex128) {
	stepA, stepB := cis(2*math.Pi*binHz*ta), cis(2*math.Pi*binHz*tb)
	turnA, turnB := cis(2*math.Pi*first*binHz*ta), cis(2*math.Pi*first*binHz*tb)
	for _, v := range weighted {
		a += turnA * v
		b += turnB * v
		turnA *= stepA
		turnB *= stepB
	}
	return a, b
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
