package analysis

import (
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// A response is read on two grids. Curves are given on that of [Grid]; figures that
// are an extreme, or where a level is crossed, are read on the fine grid, on which
// nothing that a gate lets through can lie between two points.

// ringGate is for a board that rings longer than shortGate is open: a notch or a
// resonance of high Q. It lets in three times the noise.
var ringGate = gate{from: shortGate.from, to: longGate.to, taper: sharpTaper}

const (
	// fineShare of the inverse of a gate's length is the fine grid's step: what a
	// gate lets through needs one half at least.
	fineShare = 0.25
	// foldedHz is about the step where it is even, a seventh of what shortGate tells
	// apart.
	foldedHz = 1.5
	// fineNoiseGates is how many shifted gates the noise is read through there.
	fineNoiseGates = 6
	// ringOver is how much more than noise, in power, must come after shortGate for a
	// board to ring there: over the points that it is averaged over noise reaches it
	// once in ten thousand times.
	ringOver = 2.2
	// ringPoints each way is what that is averaged over.
	ringPoints = 7
	// ringShare of the frequencies, in octaves, is more than a few notches and
	// resonances ring at; an echo or a reverb comes at all of them.
	ringShare = 0.25
	// ringLeast of the response is not worth a longer gate: 0.001 dB.
	ringLeast = 1e-4
)

// foldedFrames is the length of the transform that gives the even part of the
// fine grid, quick to transform.
func foldedFrames(rateHz float64) int {
	return 1 << int(math.Round(math.Log2(rateHz/foldedHz)))
}

// foldedFrom is where the even part begins: above it all gates reach equally far.
const foldedFrom = shortReachHz / reachShare

// fineGrid holds every point of grid.
func fineGrid(grid []float64, rateHz float64) []float64 {
	low, high := grid[0], grid[len(grid)-1]
	fine := slices.Clone(grid)
	for f := low; f < splitHz; f += fineShare / longGate.length() {
		fine = append(fine, f)
	}
	step := rateHz / float64(foldedFrames(rateHz))
	for f := splitHz; f < foldedFrom; f += step {
		fine = append(fine, f)
	}
	for k := math.Ceil(foldedFrom / step); k*step < high; k++ {
		fine = append(fine, k*step)
	}
	slices.Sort(fine)
	// Two that differ by rounding are one.
	return slices.CompactFunc(fine, func(a, b float64) bool { return math.Abs(b-a) < 1e-9*a })
}

// fineGrid is that around grid, made once.
func (p *Played) fineGrid(grid []float64) []float64 {
	p.transforming.Lock()
	defer p.transforming.Unlock()
	if p.fine == nil {
		p.fine = fineGrid(grid, float64(p.sig.RateHz))
	}
	return p.fine
}

// shareOf is at how many of hz, those past splitHz, the board rings.
func shareOf(rings []bool, step float64, hz []float64) float64 {
	n, of := 0.0, 0.0
	for _, f := range hz {
		if f > splitHz {
			of++
			if rings[int(math.Round(f/step))] {
				n++
			}
		}
	}
	return n / of
}

// readFine reads r on the fine grid around that of g, through a longer gate where
// the board rings.
func (r *Raw) readFine(g *Gated) *Gated {
	rate := float64(r.played.sig.RateHz)
	f := newGatedTransform(r)
	short, ring := f.spectrum(r, shortGate), f.spectrum(r, ringGate)
	step := rate / float64(len(f.buf))
	rings := ringing(short, ring, int(splitHz/step), int(g.FrequencyHz[len(g.FrequencyHz)-1]/step))
	if shareOf(rings, step, g.FrequencyHz) > ringShare {
		clear(rings)
	}
	grid := r.played.fineGrid(g.FrequencyHz)
	fine := &Gated{FrequencyHz: grid, H: make([]complex128, len(grid)), noise: make([][]complex128, len(grid)),
		ArrivalS: g.ArrivalS, long: make([]bool, len(grid))}
	at := 0
	for i, hz := range grid {
		k := int(math.Round(hz / step))
		rung := hz > splitHz && rings[k]
		seen, even := short, math.Abs(hz-float64(k)*step) < 1e-9*hz && hz > foldedFrom
		if rung {
			seen = ring
		}
		onGrid := at < len(g.FrequencyHz) && math.Abs(hz-g.FrequencyHz[at]) < 1e-9*hz
		switch {
		case onGrid && !rung:
			fine.H[i], fine.noise[i] = g.H[at], spread(g.noise[at], fineNoiseGates)
		case even:
			fine.H[i], fine.noise[i] = seen.h[k], seen.noiseAt(k)
		default:
			fine.H[i], fine.noise[i] = r.readBy(hz, rung, fineNoiseGates)
		}
		if fine.long[i] = rung || hz < splitHz; onGrid {
			at++
		}
	}
	fine.Noise = fine.smoothNoise()
	rung := &Gated{FrequencyHz: grid, long: fine.long} // all that is needed of fine, which is large
	fine.at = func(hz float64) complex128 { return r.readAt(hz, rung.ringsAt(hz)) }
	fine.ripple = fine.gateRipple()
	return fine
}

// alike makes of g, in place, what fine is at its points.
func (g *Gated) alike(fine *Gated) {
	g.ripple, g.long = make([]float64, len(g.H)), make([]bool, len(g.H))
	for i, f := range g.FrequencyHz {
		k := sort.SearchFloat64s(fine.FrequencyHz, f*(1-1e-9))
		g.ripple[i], g.long[i] = fine.ripple[k], fine.long[k]
		if f > splitHz && fine.long[k] {
			g.H[i], g.noise[i] = fine.H[k], fine.noise[k]
		}
	}
	g.Noise = g.smoothNoise()
	fine.disturbed = onGrid(fine.FrequencyHz, g.FrequencyHz, g.disturbed)
	fine.changes, fine.untold, fine.note = onGrid(fine.FrequencyHz, g.FrequencyHz, g.changes), g.untold, g.note
	g.fine = fine
}

// rippleStd is by how much the height of the gate for f is uneven away from its
// edges, computed in closed form: the shorter its transform reaches, the more.
func rippleStd(f float64) float64 {
	switch {
	case f < splitHz:
		return Hypot(2e-5, 3e-4*math.Pow(gridLowHz/f, 3))
	case f < foldedFrom:
		return 6e-5
	}
	return 2e-5
}

// gateRipple is what the unevenness of a gate's height makes of what rings beside
// each point of the fine grid, relative to the response there: by how much the
// response, the delay taken out, varies as far as the gate's transform reaches is what
// rings, be it in its power or, as of an all-pass, in its phase alone.
func (g *Gated) gateRipple() []float64 {
	span := func(part func(complex128) float64) []float64 {
		most := g.withinReach(func(i, j int) bool { return part(g.H[i]) >= part(g.H[j]) })
		least := g.withinReach(func(i, j int) bool { return part(g.H[i]) <= part(g.H[j]) })
		out := make([]float64, len(g.H))
		for i := range out {
			out[i] = part(g.H[most[i]]) - part(g.H[least[i]])
		}
		return out
	}
	power := span(sqAbs)
	re, im := span(func(z complex128) float64 { return real(z) }), span(func(z complex128) float64 { return imag(z) })
	out := make([]float64, len(g.H))
	for i, f := range g.FrequencyHz {
		varies := math.Max(power[i], sq(re[i])+sq(im[i]))
		out[i] = rippleStd(f) * math.Sqrt(varies) / cmplx.Abs(g.H[i])
	}
	return out
}

// withinReach is, for each point, that which is before all others within the reach
// of its gate.
func (g *Gated) withinReach(before func(i, j int) bool) []int {
	out := make([]int, len(g.FrequencyHz))
	var queue []int // in rising order, each before those after it
	next := 0
	for i, f := range g.FrequencyHz {
		_, reach := gateFor(f)
		for ; next < len(out) && g.FrequencyHz[next] <= f+reach; next++ {
			for len(queue) > 0 && before(next, queue[len(queue)-1]) {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, next)
		}
		for g.FrequencyHz[queue[0]] < f-reach {
			queue = queue[1:]
		}
		out[i] = queue[0]
	}
	return out
}

// readBy reads the response at f and at most n rows of noise, through the gate
// that is long enough.
func (r *Raw) readBy(f float64, rings bool, n int) (h complex128, noise []complex128) {
	w, reach := gateFor(f)
	if rings {
		w = ringGate
	}
	quiet := w.quiet()
	h = r.through(w, f, reach, []float64{0})[0]
	noise = r.through(quiet, f, reach, spread(r.quietShifts(quiet, reach), n))
	as := math.Sqrt(r.played.weighting(w, f, reach).power / r.played.weighting(quiet, f, reach).power)
	for i, z := range noise {
		noise[i] = scale(as, z)
	}
	return h, noise
}

// readAt reads the response at any f.
func (r *Raw) readAt(f float64, rings bool) complex128 {
	w, reach := gateFor(f)
	if rings {
		w = ringGate
	}
	var out [1]complex128
	r.read(out[:], w, f, w.weighting(r.played.binHz, f, reach), []float64{0})
	return out[0]
}

// ringsAt is whether the board rings at f.
func (g *Gated) ringsAt(f float64) bool {
	i := sort.SearchFloat64s(g.FrequencyHz, f)
	return f > splitHz && (i < len(g.long) && g.long[i] || i > 0 && g.FrequencyHz[i-1] > splitHz && g.long[i-1])
}

// ringing says at which points of the even grid, from one to another, what comes
// after shortGate is more than noise.
func ringing(short, ring gatedSpectrum, from, to int) []bool {
	late, noise := make([]float64, to+1), make([]float64, to+1)
	for k := max(0, from-ringPoints); k <= to; k++ {
		late[k] = sqAbs(ring.h[k] - short.h[k])
		noise[k] = sq(rms(ring.noiseAt(k))) + sq(ringLeast)*sqAbs(short.h[k])
	}
	rings := make([]bool, to+2)
	for k := from; k <= to; k++ {
		lo, hi := max(0, k-ringPoints), min(to+1, k+ringPoints+1)
		if stat.Mean(late[lo:hi], nil) > ringOver*stat.Mean(noise[lo:hi], nil) {
			for i := max(0, k-ringPoints); i <= min(to+1, k+ringPoints); i++ {
				rings[i] = true
			}
		}
	}
	return rings
}
