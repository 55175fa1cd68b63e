package analysis

import (
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
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
}

// powers returns each harmonic's power over noise: |a|²·N/(4σ²), which is an
// exponential variate of mean 1 where there is noise only.
func (f *combFit) powers() []float64 {
	out := make([]float64, len(f.amps))
	for h := 1; h < len(out); h++ {
		out[h] = abs2(f.amps[h]) * float64(f.fold.frames()) / (4 * f.noise(h))
	}
	return out
}

// noise is the variance of white noise of the density at harmonic h.
func (f *combFit) noise(h int) float64 {
	hz := f.phase.slope() * float64(f.s.stride) * f.s.rateHz * float64(h)
	return f.floor.at(hz) * f.s.rateHz / 2
}

// step moves amplitudes and phase together. cov is left nil if no harmonic is trusted.
func (f *combFit) step() {
	e := f.residual()
	n := float64(f.fold.frames())
	sums := f.fold.sums(e, &f.phase, f.order)
	f.amps = slices.Clone(f.amps)
	f.amps[0] += sums[0][0] * complex(1/n, 0)
	for h := 1; h < len(f.amps); h++ {
		f.amps[h] += sums[0][h] * complex(2/n, 0)
	}
	mean := spanMoments(f.s.spans, float64(f.s.stride), &f.phase, 2*f.order)
	gradient := mat.NewVecDense(f.order, nil)
	weight := 0.0
	powers := f.powers()
	in := trusted(powers)
	for h, power := range powers {
		if !in[h] {
			continue
		}
		a, w := f.amps[h], 1/f.noise(h)
		turn := 2 * math.Pi * float64(h)
		for p := 1; p <= f.order; p++ {
			// Re(j·a·conj(sum)), with what turns the harmonic as a whole taken out.
			sum := sums[p][h] - complex(mean[p], 0)*sums[0][h]
			slope := real(a)*imag(sum) - imag(a)*real(sum)
			gradient.SetVec(p-1, gradient.AtVec(p-1)+w*turn*slope)
		}
		// Noise makes |a|² too large by its own share, 1 in power.
		weight += w * turn * turn * abs2(a) * (1 - 1/power) / 2 * n
	}
	f.cov = nil
	var chol mat.Cholesky
	information := covariances(mean, f.order)
	information.ScaleSym(weight, information)
	if weight == 0 || !chol.Factorize(information) {
		return
	}
	var move mat.VecDense
	cov := mat.NewSymDense(f.order, nil)
	if chol.SolveVecTo(&move, gradient) != nil || chol.InverseTo(cov) != nil {
		return
	}
	f.cov = cov
	for p := 1; p <= f.order; p++ {
		f.phase.c[p] += move.AtVec(p - 1)
	}
}

// covariances makes means of the powers of u into covariances of powers 1 to
// order: the mean is taken off because each harmonic has a phase of its own.
func covariances(mean []float64, order int) *mat.SymDense {
	m := mat.NewSymDense(order, nil)
	for p := 1; p <= order; p++ {
		for q := p; q <= order; q++ {
			m.SetSym(p-1, q-1, mean[p+q]-mean[p]*mean[q])
		}
	}
	return m
}

// spanMoments returns the means of u^p over the spans for p = 0 to top, as
// integrals.
func spanMoments(spans []testsignals.Span, stride float64, phase *mainsPhase, top int) []float64 {
	mean, length := make([]float64, top+1), 0.0
	for _, s := range spans {
		from, to := phase.u((float64(s.Start)-0.5)*stride), phase.u((float64(s.End)-0.5)*stride)
		length += to - from
		for p := range mean {
			k := float64(p + 1)
			mean[p] += (math.Pow(to, k) - math.Pow(from, k)) / k
		}
	}
	for p := range mean {
		mean[p] /= length
	}
	return mean
}

// significant decides whether there is a comb. The frequency was chosen
// among many to make the comb look strong, so the odds are over all of them:
// below one record of noise in a thousand, either by one harmonic or by all
// together. Lines that are all multiples of, say, 500 Hz are no mains comb but
// some clock's.
func (f *combFit) significant() bool {
	lengthS := 2 * f.s.halfS
	driftCells := math.Max(1, 2*maxDriftHzPerS*searchHarmonics*lengthS*lengthS/8)
	cells := 2 * (mainsUnder + mainsOver) * (50 + 60) * searchHarmonics * lengthS * driftCells
	odds := 1e-3 / cells
	one := math.Log(searchHarmonics / odds)
	sum, largest := 0.0, 0.0
	for _, power := range f.powers() {
		sum += power
		largest = math.Max(largest, power)
	}
	all := mathext.GammaIncRegComp(searchHarmonics, sum) < odds
	common := f.common()
	return f.cov != nil && (largest > one || all) && common > 0 && common <= 6
}

// common is the greatest divisor of the harmonics that stand out, 0 where none
// does.
func (f *combFit) common() int {
	common := 0
	for h, power := range f.powers() {
		if power > combLevel*combLevel/2 && h > 0 {
			common = gcd(common, h)
		}
	}
	return common
}

// either says whether the lines that stand out are as well a comb of the other
// mains frequency: multiples of 300 Hz are, where both were looked for.
func (f *combFit) either() bool {
	hz := f.phase.slope() * float64(f.s.stride) * f.s.rateHz
	return f.s.anyMains && math.Round(hz/10)*10*float64(f.common()) == 300
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// bridged decides whether the phase is carried over the gaps without a doubt:
// no frequency that fits each span about as well, but slips a cycle of one of
// the lower harmonics in between, explains the record nearly as well (odds of
// e^8).
func (f *combFit) bridged() bool {
	halfS, frames := f.s.halfS, float64(f.s.stride)*f.s.rateHz
	// Each harmonic is looked at with the others taken off: what a strong one
	// leaks into all the rest in short spans would have a say otherwise.
	alone := *f.s
	f.solve(solveShare)
	alone.x = f.residual()
	b := alone.blocks(mainsGuess{hz: f.phase.c[1] / f.phase.half * frames, hzPerS: 2 * f.phase.c[2] / (halfS * halfS)}, f.floor)
	for i, sums := range b.sums {
		for h := range sums {
			sums[h] += f.amps[h] * complex(float64(b.frames[i])/2, 0)
		}
	}
	first, last := f.s.spans[0], f.s.spans[len(f.s.spans)-1]
	apartS := float64(last.Start+last.End-first.Start-first.End) / 2 / f.s.rateHz
	best := b.power(0)
	for h := 1; h <= 6; h++ {
		for k := 1; k <= 3; k++ {
			slip := float64(k) / (float64(h) * apartS)
			if best-math.Max(b.power(slip), b.power(-slip)) < 8 {
				return false
			}
		}
	}
	return true
}

// comb returns what was fitted, if it is one.
func (f *combFit) comb() *Comb {
	if !f.significant() {
		return &Comb{Reason: noComb}
	}
	if f.either() {
		return &Comb{Reason: eitherMains}
	}
	if len(f.s.spans) > 1 && !f.bridged() {
		return &Comb{Reason: "the mains phase cannot be carried across the gap"}
	}
	c := &Comb{
		Found: true, phase: f.phase, order: f.order, cov: f.cov,
		Amplitudes: f.amps, floor: f.floor,
	}
	halfS := f.s.halfS
	frames := float64(f.s.stride) * f.s.rateHz
	odd := mat.NewVecDense(f.order, []float64{1, 0, 1, 0, 1, 0, 1, 0}[:f.order])
	// The straight line that was fitted holds 3/5 of an unfitted cubic.
	c.FrequencyHz = Estimate{f.phase.meanFrequency() * frames, Hypot(math.Sqrt(mat.Inner(odd, f.cov, odd)), 2.0/5*f.unfitted) / halfS}
	c.restless = f.order == maxPhaseOrder
	if f.order >= 2 {
		scale := 2 / (halfS * halfS)
		c.DriftHzPerS = Estimate{f.phase.c[2] * scale, math.Sqrt(f.cov.At(1, 1)) * scale}
	}
	return c
}
