package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// combFit is the joint least-squares fit of phase and amplitudes to the
// decimated record. Given the phase, amplitudes are linear and solved for;
// given the amplitudes, the phase takes a Gauss-Newton step in which each
// harmonic counts by its power over its own noise.
type combFit struct {
	s     *mainsSearch
	fold  *folder
	phase mainsPhase
	order int
	amps  []complex128
	floor spectrumFloor
	cov   *mat.SymDense
	// leaked are the harmonics at which only the leakage of another line shows.
	leaked []bool
	// smeared is the density of a smear that a harmonic lies in, 0 without one.
	smeared []float64
	// unfitted is an odd power of the phase that showed and was not fitted.
	unfitted float64
}

func newCombFit(s *mainsSearch, g mainsGuess, floor spectrumFloor) *combFit {
	order := 2
	if 2*s.halfS < 1 {
		order = 1
	}
	return &combFit{
		s: s, phase: s.phaseOf(g), order: order, floor: floor,
		fold: newFolder(s.spans, float64(s.stride), searchHarmonics, searchRing),
		amps: make([]complex128, searchHarmonics+1),
	}
}

// run fits, takes the noise from the residual and fits again.
func (f *combFit) run() {
	for range 3 {
		f.step()
	}
	f.refloor()
	f.wander()
}

// wander fits once more, then lets the frequency wander as far as the record
// asks for. Across a gap between spans nothing would hold a higher order.
func (f *combFit) wander() {
	f.step()
	for len(f.s.spans) == 1 && f.order >= 2 && f.order < maxPhaseOrder {
		kept := *f
		f.order += 2
		f.step()
		shown := f.lastPair()
		if shown < wanderShown {
			kept.unfitted = 0
			if shown > wanderDoubt {
				kept.unfitted = f.phase.c[f.order-1]
			}
			*f = kept
			break
		}
		f.step()
	}
	f.solve(roughShare)
}

// What a pair of powers of the phase must show, in squared standard
// uncertainties, to be fitted, and from where on it is kept in mind: a steady
// drift shows the first in one record in 16,000, the second in one in 400.
const (
	wanderShown = 19.4
	wanderDoubt = 12.0
)

// lastPair is how much the two highest powers of the phase show together: a
// chi-squared variate of two degrees of freedom where they are not there. One
// alone would not do: a wander that is odd about the middle has no even ones.
func (f *combFit) lastPair() float64 {
	if f.cov == nil {
		return 0
	}
	p, q := f.order-2, f.order-1
	a, b, c := f.cov.At(p, p), f.cov.At(p, q), f.cov.At(q, q)
	x, y := f.phase.c[p+1], f.phase.c[q+1]
	return (x*x*c - 2*x*y*b + y*y*a) / (a*c - b*b)
}

// roughShare is enough for amplitudes that only lead the phase, and for the
// noise beneath them.
const roughShare = 3e-3

// solve fits the amplitudes to within a share of the largest.
func (f *combFit) solve(share float64) {
	f.amps = slices.Clone(f.amps)
	f.fold.solve(f.amps, f.s.x, &f.phase, share, nil)
	f.leaked = f.leaks()
}

// residual is what the amplitudes leave.
func (f *combFit) residual() []float64 {
	e := slices.Clone(f.s.x)
	f.fold.addTo(e, f.s.spans, f.amps, &f.phase, -1)
	return e
}

func (f *combFit) refloor() {
	f.solve(roughShare)
	e := f.residual()
	d := welch(e, f.s.spans, f.s.rateHz, welchLength(f.s.spans, f.s.rateHz))
	f.floor = newSpectrumFloor(d.psd, d.binHz, d.averages, 12, 40)
	f.smeared = f.smears(e)
}

// powers returns each harmonic's power over noise: |a|²·N/(4σ²), which is an
// exponential variate of mean 1 where there is noise only; 0 for leakage.
func (f *combFit) powers() []float64 {
	out := make([]float64, len(f.amps))
	for h := 1; h < len(out); h++ {
		if f.leaked == nil || !f.leaked[h] {
			out[h] = abs2(f.amps[h]) * float64(f.fold.frames()) / (4 * f.noise(h))
		}
	}
	return out
}

// noise is the variance of white noise of the density at harmonic h.
func (f *combFit) noise(h int) float64 {
	hz := f.phase.slope() * float64(f.s.stride) * f.s.rateHz * float64(h)
	density := f.floor.at(hz)
	if f.smeared != nil {
		density = math.Max(density, f.smeared[h])
	}
	return density * f.s.rateHz / 2
}
