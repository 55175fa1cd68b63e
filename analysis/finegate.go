package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// impulse is the board's impulse response on the whole circle, as it was
// recorded, one value a frame.
func (r *Raw) impulse() []float64 {
	p := r.played
	p.transforming.Lock()
	defer p.transforming.Unlock()
	h := p.fft.Sequence(nil, slices.Clone(r.spec))
	for i := range h {
		h[i] /= float64(len(h))
	}
	return h
}

// timeWindow is a gate with the reach shortReachHz as factors on the frames of an
// impulse response, from frame first on, 0 being the arrival.
type timeWindow struct {
	factor []float64
	first  int
}

// window is the inverse transform of the weights that g has at whole bins.
func (p *Played) window(g gate) timeWindow {
	if w, ok := p.windows.Load(g); ok {
		return w.(timeWindow)
	}
	kernel := g.weighting(p.binHz, 0, shortReachHz)
	p.transforming.Lock()
	n := len(p.buf)
	c := make([]complex128, n/2+1)
	for i, v := range kernel.weights {
		if k := kernel.first + i; k >= 0 {
			c[k] = scale(v, cis(-2*math.Pi*float64(k)*p.binHz*g.centre()))
		}
	}
	x := p.fft.Sequence(nil, c)
	p.transforming.Unlock()
	rate, edge := float64(p.sig.RateHz), 2*g.edge(shortReachHz)
	first, last := int((g.from-edge)*rate), int((g.to+edge)*rate)
	w := timeWindow{first: first, factor: make([]float64, last-first+1)}
	for i := range w.factor {
		w.factor[i] = x[((first+i)%n+n)%n]
	}
	p.windows.Store(g, w)
	return w
}

// gatedTransform transforms gated impulse responses at the even part of the fine grid.
type gatedTransform struct {
	h    []float64
	fft  *fourier.FFT
	buf  []float64
	rate float64
}

func newGatedTransform(r *Raw) *gatedTransform {
	rate := float64(r.played.sig.RateHz)
	m := foldedFrames(rate)
	return &gatedTransform{h: r.impulse(), fft: fourier.NewFFT(m), buf: make([]float64, m), rate: rate}
}

// through is what w, moved by seconds, sees at each whole multiple of the
// transform's step: there a response that is longer than the transform may be
// folded upon itself.
func (f *gatedTransform) through(w timeWindow, seconds float64) []complex128 {
	clear(f.buf)
	n, m := len(f.h), len(f.buf)
	shift := int(math.Round(seconds * f.rate))
	at, to := ((w.first+shift)%n+n)%n, (w.first%m+m)%m
	for _, v := range w.factor {
		f.buf[to] += v * f.h[at]
		if at++; at == n {
			at = 0
		}
		if to++; to == m {
			to = 0
		}
	}
	return f.fft.Coefficients(nil, f.buf)
}

// gatedSpectrum is what one gate sees at the even part of the fine grid, and rows
// of noise as it would come through it.
type gatedSpectrum struct {
	h     []complex128
	noise [][]complex128
}

func (f *gatedTransform) spectrum(r *Raw, g gate) gatedSpectrum {
	quiet := g.quiet()
	p := r.played
	// All weights move along with the frequency, so that this is the same at each.
	const anyHz = 5000
	as := math.Sqrt(p.weighting(g, anyHz, shortReachHz).power / p.weighting(quiet, anyHz, shortReachHz).power)
	s := gatedSpectrum{h: f.through(p.window(g), 0)}
	for _, shift := range spread(r.quietShifts(quiet, shortReachHz), fineNoiseGates) {
		row := f.through(p.window(quiet), shift)
		for i := range row {
			row[i] = scale(as, row[i])
		}
		s.noise = append(s.noise, row)
	}
	return s
}

// noiseAt is the rows of noise at point k.
func (s gatedSpectrum) noiseAt(k int) []complex128 {
	row := make([]complex128, len(s.noise))
	for j := range row {
		row[j] = s.noise[j][k]
	}
	return row
}
