package simboard

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// transform goes between n frames and the n/2+1 bins of their spectrum.
// Spectra are unnormalised, as Gonum's are.
type transform struct {
	n      int
	rateHz float64
	fft    *fourier.FFT
	double *fourier.FFT // of 2n frames, made when it is first needed
}

func newTransform(n int, rateHz float64) *transform {
	return &transform{n: n, rateHz: rateHz, fft: fourier.NewFFT(n)}
}

func (t *transform) stepHz() float64 { return t.rateHz / float64(t.n) }

// forward returns the spectrum of x followed by zeros.
func (t *transform) forward(x []float64) []complex128 {
	if len(x) < t.n {
		x = append(append(make([]float64, 0, t.n), x...), make([]float64, t.n-len(x))...)
	}
	return t.fft.Coefficients(nil, x)
}

// inverse returns the n frames of a spectrum.
func (t *transform) inverse(bins []complex128) []float64 {
	x := t.fft.Sequence(nil, bins)
	scale := 1 / float64(t.n)
	for i := range x {
		x[i] *= scale
	}
	return x
}

// nonlinear applies f in the time domain, at twice the rate where the rate is
// at most oversampleMaxHz.
func (t *transform) nonlinear(bins []complex128, f func(x []float64, rateHz float64)) []complex128 {
	if t.rateHz > oversampleMaxHz {
		x := t.inverse(bins)
		f(x, t.rateHz)
		return t.fft.Coefficients(bins, x)
	}
	if t.double == nil {
		t.double = fourier.NewFFT(2 * t.n)
	}
	wide := make([]complex128, t.n+1)
	copy(wide, bins)
	x := t.double.Sequence(nil, wide)
	scale := 1 / float64(t.n)
	for i := range x {
		x[i] *= scale
	}
	f(x, 2*t.rateHz)
	t.double.Coefficients(wide, x)
	for i := range bins {
		bins[i] = wide[i] / 2
	}
	return bins
}

const oversampleMaxHz = 96000

// addNoise adds Gaussian noise to one bin; density is one-sided in V²/Hz.
// Then E|X|² is density·rate·n/2.
func (t *transform) addNoise(bin *complex128, density float64, rng *rand.Rand) {
	std := math.Sqrt(density * t.rateHz * float64(t.n) / 4)
	*bin += complex(std*rng.NormFloat64(), std*rng.NormFloat64())
}

// stretched returns the first count frames of a spectrum as a clock would
// sample them that is fast by a number of parts per million: the Fourier
// series itself at those times, by Bluestein's chirp transform.
func (t *transform) stretched(bins []complex128, count int, ppm float64) []float64 {
	ratio := 1 / (1 + ppm*1e-6)
	size := goodSize(len(bins) + count)
	fft := fourier.NewCmplxFFT(size)
	// k² mod 2n keeps the phase small: it is taken before the ratio where
	// that is exact, and the rest is a slow function of k.
	chirp := func(k int) complex128 {
		whole := float64((k * k) % (2 * t.n))
		rest := float64(k) * float64(k) * (ratio - 1)
		s, c := math.Sincos(math.Pi * (whole + rest) / float64(t.n))
		return complex(c, s)
	}
	conj := func(z complex128) complex128 { return complex(real(z), -imag(z)) }
	a, b := make([]complex128, size), make([]complex128, size)
	for k, v := range bins {
		a[k] = v * chirp(k)
		b[(size-k)%size] = conj(chirp(k))
	}
	a[0] /= 2
	for n := range count {
		b[n] = conj(chirp(n))
	}
	fft.Coefficients(a, a)
	fft.Coefficients(b, b)
	for i := range a {
		a[i] *= b[i]
	}
	fft.Sequence(a, a)
	x := make([]float64, count)
	scale := 2 / float64(t.n) / float64(size)
	for n := range x {
		x[n] = real(a[n]*chirp(n)) * scale
	}
	return x
}

// goodSize returns an even size of at least n whose prime factors are 2, 3
// and 5.
func goodSize(n int) int {
	best := math.MaxInt
	for five := 1; five < 2*n; five *= 5 {
		for three := five; three < 2*n; three *= 3 {
			size := 2 * three
			for size < n {
				size *= 2
			}
			best = min(best, size)
		}
	}
	return best
}
