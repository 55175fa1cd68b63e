package analysis

import (
	"math"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
)

// mainsPhase is the phase of the mains in cycles, 0 in the middle of the record: a
// cubic spline over knots that lie stepFrames apart, with its value and its slope
// per step at each.
type mainsPhase struct {
	firstFrame, stepFrames float64
	cycles, slopes         []float64
}

// at is the phase at a frame of the record; past either end it goes on straight.
func (p *mainsPhase) at(frame float64) float64 {
	v := (frame - p.firstFrame) / p.stepFrames
	last := len(p.cycles) - 1
	switch {
	case v <= 0:
		return p.cycles[0] + v*p.slopes[0]
	case v >= float64(last):
		return p.cycles[last] + (v-float64(last))*p.slopes[last]
	}
	i := int(v)
	v -= float64(i)
	// Hermite's cubic.
	a, b, m, n := p.cycles[i], p.cycles[i+1], p.slopes[i], p.slopes[i+1]
	return a + v*(m+v*(3*(b-a)-2*m-n+v*(m+n-2*(b-a))))
}

// toKnot is how many strides lead from a frame to the next knot, 1 at least.
func (p *mainsPhase) toKnot(frame, stride float64) int {
	v := (frame - p.firstFrame) / p.stepFrames
	if v < 0 || v >= float64(len(p.cycles)-1) {
		return foldBlock
	}
	return max(1, int((math.Floor(v)+1-v)*p.stepFrames/stride))
}

// A folder takes sums over samples against every harmonic of a moving mains phase
// at once, and the other way round. Each sample is spread onto a ring of points, one
// mains period around, by four-point Lagrange interpolation, and one short FFT
// gives all harmonics: a non-uniform FFT of the first and second kind (Dutt &
// Rokhlin 1993).
type folder struct {
	harmonics int
	stride    float64 // frames of the record per sample of x
	points    int     // of a ring
	ring      []float64
	scratch   []float64
	coeff     []complex128
	fft       *fourier.FFT
}

// Ring points to the shortest cycle: with 160 the interpolation errs by less
// than 1e-7, with 80 by 1e-6, with 25 by 1e-4. The first is for the 40
// harmonics that are reported, the second for finding their phase, the last
// for what lies above the 40th, and where an error goes with what is looked at.
const (
	exactRing  = 160
	searchRing = 80
	quickRing  = 25
)

// newFolder makes a folder of 0 to harmonics. perCycle is the ring points to a cycle
// of the 40th harmonic.
func newFolder(stride float64, harmonics, perCycle int) *folder {
	least := max(perCycle*searchHarmonics, quickRing*harmonics)
	points := 1 << int(math.Ceil(math.Log2(float64(least))))
	return &folder{
		harmonics: harmonics, stride: stride, points: points,
		ring: make([]float64, points+3), coeff: make([]complex128, points/2+1), fft: fourier.NewFFT(points),
	}
}

// foldBlock is the most samples over which the phase is walked as a parabola: it
// errs by φ‴·h³/(9√3), nothing for what the mains does in 50 ms.
const foldBlock = 256

// walk calls at for each sample of a span with the four ring points around its
// phase and their weights, those of Lagrange's cubic through points −1 to 2.
func (f *folder) walk(s testsignals.Span, p *mainsPhase, at func(i int, r []float64, a, b, c, d float64)) {
	mask, n := f.points-1, float64(f.points)
	for start, size := s.Start, 0; start < s.End; start += size {
		size = min(foldBlock, s.End-start, p.toKnot(float64(start)*f.stride, f.stride))
		half := float64(size) / 2
		from, mid, to := p.at(float64(start)*f.stride), p.at((float64(start)+half)*f.stride), p.at((float64(start)+2*half)*f.stride)
		bend := (from - 2*mid + to) / (2 * half * half) * n
		slope := (mid-from)/half*n - bend*half
		from = (from - math.Floor(from)) * n
		for k := range size {
			t := float64(k)
			g := from + t*(slope+t*bend)
			whole := math.Floor(g)
			v := g - whole
			i := int(whole) & mask
			u, w := v*(v-1), (v+1)*(v-2)
			at(start+k, f.ring[i:i+4:i+4], u*(v-2)*(-1.0/6), w*(v-1)*0.5, w*v*-0.5, u*(v+1)*(1.0/6))
		}
	}
}

// sums returns Σ x·e^(−j2πhφ) over a span for h = 0 to f.harmonics.
func (f *folder) sums(x []float64, s testsignals.Span, p *mainsPhase) []complex128 {
	clear(f.ring)
	f.walk(s, p, func(i int, r []float64, a, b, c, d float64) {
		y := x[i]
		r[0] += y * a
		r[1] += y * b
		r[2] += y * c
		r[3] += y * d
	})
	// A ring's points are −1 to points+1: its ends are one place each.
	r, n := f.ring, f.points
	r[n] += r[0]
	r[1] += r[n+1]
	r[2] += r[n+2]
	f.fft.Coefficients(f.coeff, r[1:n+1])
	return append([]complex128(nil), f.coeff[:f.harmonics+1]...)
}

// amplitudes are those of all harmonics of x in a block.
func (f *folder) amplitudes(x []float64, b mainsBlock, p *mainsPhase) []complex128 {
	total, span := float64(b.Len()), b.Span
	if b.window != nil {
		f.scratch = append(f.scratch[:0], x[b.Start:b.End]...)
		total = 0
		for i, w := range b.window {
			f.scratch[i] *= w
			total += w
		}
		x = f.scratch
		from := *p
		from.firstFrame -= float64(b.Start) * f.stride
		p, span = &from, testsignals.Span{Start: 0, End: b.Len()}
	}
	sums := f.sums(x, span, p)
	for h := range sums {
		sums[h] *= complex(2/total, 0)
	}
	sums[0] = complex(real(sums[0])/2, 0)
	return sums
}

// addTo adds sign·Σ Re(amps[h]·e^(j2πhφ)) to dst over a span.
func (f *folder) addTo(dst []float64, s testsignals.Span, amps []complex128, p *mainsPhase, sign float64) {
	clear(f.coeff)
	for h, a := range amps {
		f.coeff[h] = a * complex(sign/2, 0)
	}
	f.coeff[0] *= 2
	n := f.points
	f.fft.Sequence(f.ring[1:n+1], f.coeff)
	f.ring[0], f.ring[n+1], f.ring[n+2] = f.ring[n], f.ring[1], f.ring[2]
	f.walk(s, p, func(i int, r []float64, a, b, c, d float64) {
		dst[i] += a*r[0] + b*r[1] + c*r[2] + d*r[3]
	})
}
