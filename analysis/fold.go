package analysis

import (
	"math"
	"math/cmplx"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
)

// maxPhaseOrder is the highest power of time in the mains phase: 1 a steady
// frequency, 2 a drifting one, above that a wandering one. It is even: powers
// come in pairs.
const maxPhaseOrder = 8

// mainsPhase is the phase of the mains in cycles, Σ c[p]·u^p, where
// u = (t−centre)/half and t counts frames of the record. c[0] is always 0.
type mainsPhase struct {
	centre, half float64
	c            [maxPhaseOrder + 1]float64
}

func (p *mainsPhase) u(frame float64) float64 { return (frame - p.centre) / p.half }

// cycles is the phase at u, with powers up to order.
func (p *mainsPhase) cycles(u float64, order int) float64 {
	s := 0.0
	for i := order; i >= 0; i-- {
		s = s*u + p.c[i]
	}
	return s
}

// order is the highest power in use.
func (p *mainsPhase) order() int {
	for i := maxPhaseOrder; i > 0; i-- {
		if p.c[i] != 0 {
			return i
		}
	}
	return 0
}

// slope is a frequency in cycles per frame: that of the straight line
// which fits the phase best, by projection on the first Legendre polynomial.
func (p *mainsPhase) slope() float64 {
	return (p.c[1] + 3.0/5*p.c[3] + 3.0/7*p.c[5] + 3.0/9*p.c[7]) / p.half
}

// meanFrequency is the mean of the frequency over the record, in cycles per
// frame: what the phase went through from end to end.
func (p *mainsPhase) meanFrequency() float64 {
	return (p.c[1] + p.c[3] + p.c[5] + p.c[7]) / p.half
}

// steady returns p with the powers above order left out, at its mean slope.
func (p *mainsPhase) steady(order int) mainsPhase {
	q := *p
	q.c[1] = p.slope() * p.half
	for i := order + 1; i <= maxPhaseOrder; i++ {
		q.c[i] = 0
	}
	return q
}

// A folder takes sums over all samples against every harmonic of a moving
// mains phase at once, and the other way round. Each sample is spread onto a
// ring of points, one mains period around, by four-point Lagrange
// interpolation, and one short FFT gives all harmonics: a non-uniform FFT of
// the first and second kind (Dutt & Rokhlin 1993).
type folder struct {
	harmonics int
	spans     []testsignals.Span // in samples of x, which may be decimated
	stride    float64            // frames of the record per sample of x
	points    int                // of a ring
	rings     [][]float64        // one per power of time, three points longer
	coeff     []complex128
	fft       *fourier.FFT
}

// Ring points to the shortest cycle: with 160 the interpolation errs by less
// than 1e-7, with 80 by 1e-6, with 40 by 2e-5. The first is for the 40
// harmonics that are reported, the second for finding their phase, the last
// for searching, and for taking off what lies above the 40th.
const (
	exactRing  = 160
	searchRing = 80
	quickRing  = 40
)

// newFolder makes a folder of 0 to harmonics over spans. perCycle is the ring
// points to a cycle of the 40th harmonic.
func newFolder(spans []testsignals.Span, stride float64, harmonics, perCycle int) *folder {
	least := max(perCycle*searchHarmonics, quickRing*harmonics)
	points := 1 << int(math.Ceil(math.Log2(float64(least))))
	return &folder{
		harmonics: harmonics, spans: spans, stride: stride, points: points,
		coeff: make([]complex128, points/2+1),
		fft:   fourier.NewFFT(points),
	}
}

// frames counts the samples that are summed over.
func (f *folder) frames() int {
	n := 0
	for _, s := range f.spans {
		n += s.Len()
	}
	return n
}

// clearRings makes n rings of zeros.
func (f *folder) clearRings(n int) [][]float64 {
	for len(f.rings) < n {
		f.rings = append(f.rings, make([]float64, f.points+3))
	}
	for _, r := range f.rings[:n] {
		clear(r)
	}
	return f.rings[:n]
}

// foldBlock is the most frames in which the phase is walked as a parabola, and
// foldError what that may be off by in cycles of the highest harmonic.
const (
	foldBlock = 256
	foldError = 1e-8
)

// block is how many frames of x a parabola through both their ends and their
// middle follows a phase for: h frames apart it errs by φ‴·h³/(9√3).
func (f *folder) block(p *mainsPhase) int {
	third := 0.0
	for k := 3; k <= maxPhaseOrder; k++ {
		third += float64(k*(k-1)*(k-2)) * math.Abs(p.c[k])
	}
	third *= math.Pow(f.stride/p.half, 3) * float64(f.harmonics)
	most := 2 * math.Cbrt(9*math.Sqrt(3)*foldError/third)
	return int(math.Max(4, math.Min(most, foldBlock)))
}

// parabola is a phase in points of a ring, from 0 up, at frames from the start
// of a block.
type parabola struct{ at, slope, bend float64 }

// parabola returns the phase in the block of frames of x that starts at t.
func (f *folder) parabola(p *mainsPhase, degree, t, block int) parabola {
	scale, offset := f.stride/p.half, p.centre/p.half
	at := func(t float64) float64 { return p.cycles(t*scale-offset, degree) }
	from, half := float64(t), float64(block)/2
	a, b, c := at(from), at(from+half), at(from+2*half)
	n := float64(f.points)
	bend := (a - 2*b + c) / (2 * half * half)
	return parabola{(a - math.Floor(a)) * n, ((b-a)/half - bend*half) * n, bend * n}
}

// lagrange returns the weights of the points −1, 0, 1 and 2 at a place v past 0.
func lagrange(v float64) (a, b, c, d float64) {
	p, q := v*(v-1), (v+1)*(v-2)
	return p * (v - 2) * (-1.0 / 6), q * (v - 1) * 0.5, q * v * -0.5, p * (v + 1) * (1.0 / 6)
}

// sums returns, for each power p of time from 0 to order,
// Σ x·u^p·e^(−j2πhφ) for h = 0 to f.harmonics. A nil x is 1 throughout.
func (f *folder) sums(x []float64, p *mainsPhase, order int) [][]complex128 {
	rings := f.clearRings(order + 1)
	degree, scale, offset, mask, size := p.order(), f.stride/p.half, p.centre/p.half, f.points-1, f.block(p)
	for _, s := range f.spans {
		for start := s.Start; start < s.End; start += size {
			phase := f.parabola(p, degree, start, size)
			for k := range min(size, s.End-start) {
				y := 1.0
				if x != nil {
					y = x[start+k]
				}
				t := float64(k)
				g := phase.at + t*(phase.slope+t*phase.bend)
				whole := int(g)
				a, b, c, d := lagrange(g - float64(whole))
				i := whole & mask
				u := float64(start+k)*scale - offset
				for _, ring := range rings {
					r := ring[i : i+4 : i+4]
					r[0] += y * a
					r[1] += y * b
					r[2] += y * c
					r[3] += y * d
					y *= u
				}
			}
		}
	}
	out := make([][]complex128, len(rings))
	for k, r := range rings {
		// A ring's points are −1 to points+1: its ends are one place each.
		n := f.points
		r[n] += r[0]
		r[1] += r[n+1]
		r[2] += r[n+2]
		f.fft.Coefficients(f.coeff, r[1:n+1])
		out[k] = append([]complex128(nil), f.coeff[:f.harmonics+1]...)
	}
	return out
}

// addTo adds sign·Σ Re(amps[h]·e^(j2πhφ)) to dst over the given spans.
func (f *folder) addTo(dst []float64, spans []testsignals.Span, amps []complex128, p *mainsPhase, sign float64) {
	clear(f.coeff)
	for h, a := range amps {
		f.coeff[h] = a * complex(sign/2, 0)
	}
	f.coeff[0] *= 2
	ring, n := f.clearRings(1)[0], f.points
	f.fft.Sequence(ring[1:n+1], f.coeff)
	ring[0], ring[n+1], ring[n+2] = ring[n], ring[1], ring[2]
	degree, mask, size := p.order(), f.points-1, f.block(p)
	for _, s := range spans {
		for start := s.Start; start < s.End; start += size {
			phase := f.parabola(p, degree, start, size)
			block := dst[start:min(start+size, s.End)]
			for k := range block {
				t := float64(k)
				g := phase.at + t*(phase.slope+t*phase.bend)
				whole := int(g)
				a, b, c, d := lagrange(g - float64(whole))
				i := whole & mask
				r := ring[i : i+4 : i+4]
				block[k] += a*r[0] + b*r[1] + c*r[2] + d*r[3]
			}
		}
	}
}

// solve fits the amplitudes of all harmonics (and the constant, amps[0]) to x by
// joint least squares, from where they are. Each is moved by what is left of
// it, until all stand still to within a share of the largest, or can be told no
// better: harmonics are almost orthogonal over many periods, so a few steps do.
// keep, where not nil, is asked for each whether it stays; one that does not is put
// back. x is gone through twice, however many steps there are: what one
// harmonic shows of another is known from the phase.
func (f *folder) solve(amps []complex128, x []float64, p *mainsPhase, share float64, keep func(h int) bool) {
	sums, shown := f.sums(x, p, 0)[0], f.shown(p)
	for range 12 {
		grown, largest := 0.0, 0.0
		for h, more := range f.left(sums, shown, amps) {
			before := amps[h]
			amps[h] += more
			if keep != nil && !keep(h) {
				amps[h] = 0
			}
			grown, largest = math.Max(grown, cmplx.Abs(amps[h]-before)), math.Max(largest, cmplx.Abs(amps[h]))
		}
		if grown <= share*largest {
			return
		}
	}
}

// shown returns Σ e^(−j2πmφ) for m = 0 to twice f.harmonics: what one harmonic
// shows of another that is m away.
func (f *folder) shown(p *mainsPhase) []complex128 {
	return newFolder(f.spans, f.stride, 2*f.harmonics, quickRing).sums(nil, p, 0)[0]
}

// left is what the amplitudes leave of x, whose sums these are, by harmonic.
func (f *folder) left(sums, shown, amps []complex128) []complex128 {
	out, n := slices.Clone(sums), float64(f.frames())
	for k, a := range amps {
		if a == 0 {
			continue
		}
		half := a / 2
		for h := range out {
			between := shown[max(h-k, k-h)]
			if h < k {
				between = cmplx.Conj(between)
			}
			out[h] -= half*between + cmplx.Conj(half)*shown[h+k]
		}
	}
	for h := range out {
		out[h] *= complex(2/n, 0)
	}
	out[0] = complex(real(out[0])/2, 0)
	return out
}
