package analysis

import "math"

// gate is a window over an impulse response: flat from flatFrom to flatTo,
// with raised-cosine skirts of length skirt outside. Times in seconds, 0 is
// the arrival of the signal.
//
// It is applied in the frequency domain, where multiplying an impulse
// response by a window is convolving its spectrum with the window's
// transform. The transform falls with the third power of frequency, so a few
// bins around the frequency asked for are enough, and the result is had at
// any frequency, not only at the bins.
type gate struct {
	flatFrom, flatTo, skirt float64
}

// reach is how far the kernel is followed each side of its centre, in units
// of 1/skirt. What is cut off is under 1e-4 of the window's height.
const reach = 8

func (g gate) centre() float64 { return (g.flatFrom + g.flatTo) / 2 }

// length is the integral of the window, in seconds.
func (g gate) length() float64 { return g.flatTo - g.flatFrom + g.skirt }

// noiseLength is the integral of the squared window, in seconds: the two
// skirts of cos² shape give 3/8 each.
func (g gate) noiseLength() float64 { return g.flatTo - g.flatFrom + 0.75*g.skirt }

// full is the whole extent of the window.
func (g gate) full() float64 { return g.flatTo - g.flatFrom + 2*g.skirt }

// kernel is the transform of the window at offset frequency f when its
// centre is time 0: a rectangle of length() convolved with a half-cosine lobe
// of length skirt.
func (g gate) kernel(f float64) float64 {
	return g.length() * sincPi(f*g.length()) * cosLobe(f*g.skirt)
}

// cosLobe is the transform of a half period of cosine with area 1 over unit
// length: convolving a rectangle with it gives raised-cosine skirts.
func cosLobe(x float64) float64 {
	d := 1 - 4*x*x
	if math.Abs(d) < 1e-9 {
		return math.Pi / 4
	}
	return math.Cos(math.Pi*x) / d
}

func sincPi(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// apply returns the transform at frequency f of the impulse response whose
// spectrum has the bins spec, seen through g moved by each of shifts, in
// seconds. Phases refer to time 0 of the response, moved likewise.
func (g gate) apply(spec []complex128, binHz, f float64, shifts []float64) []complex128 {
	span := int(reach / g.skirt / binHz)
	first := int(math.Round(f/binHz)) - span
	weighted := make([]complex128, 2*span+1)
	for i := range weighted {
		w := binHz * g.kernel(f-float64(first+i)*binHz)
		weighted[i] = scale(w, hermitian(spec, first+i))
	}
	out := make([]complex128, len(shifts))
	for j, shift := range shifts {
		tc := g.centre() + shift
		step := cis(2 * math.Pi * binHz * tc)
		turn := cis(2 * math.Pi * (float64(first)*binHz*tc - f*g.centre()))
		var sum complex128
		for _, v := range weighted {
			sum += turn * v
			turn *= step
		}
		out[j] = sum
	}
	return out
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
