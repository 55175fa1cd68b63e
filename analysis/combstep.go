package analysis

import (
	"cmp"
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mat"
)

// Power over noise of a harmonic from which its phase is trusted to help find
// the mains frequency: anywhere in the comb, or next to one that does. Noise
// alone passes the first once in 160,000 harmonics, the second once in 55. A
// harmonic that is noise would claim to know much, as the square of its
// number.
const (
	trustedPower   = 12.0
	neighbourPower = 4.0
)

// trusted says which harmonics help to find the phase: none that stands by
// itself, nor one where a clock's line may be, several of which would agree with
// one another.
func (f *combFit) trusted(powers []float64) []bool {
	in, lone := make([]bool, len(powers)), f.lone(powers)
	for h := 1; h < len(in); h++ {
		if lone[h] || f.clocked(h) {
			continue
		}
		beside := in[h-1] || h >= 2 && in[h-2]
		in[h] = powers[h] > trustedPower || beside && powers[h] > neighbourPower
	}
	return in
}

// Clocks in audio and on USB have lines at multiples of clockHz, to clockShare;
// common practice, no source.
const (
	clockHz    = 500.0
	clockShare = 2e-4
)

// clocked says whether harmonic h is too near to where a clock's line may be to be
// told from one.
func (f *combFit) clocked(h int) bool {
	hz := float64(h) * f.phase.slope() * float64(f.s.stride) * f.s.rateHz
	n := math.Round(hz / clockHz)
	return n > 0 && math.Abs(hz-n*clockHz) < sharedBins/(2*f.s.halfS)+clockShare*hz
}

// A lead is what one harmonic says of the phase: the slope of the likelihood
// over each of its powers, and how much it knows, as a multiple of their
// covariances.
type lead struct {
	power, weight float64
	gradient      *mat.VecDense
}

// leads returns those of the trusted harmonics. sums are of the residual, and
// mean are the means of the powers of u.
func (f *combFit) leads(sums [][]complex128, mean []float64) []lead {
	var out []lead
	n, powers := float64(f.fold.frames()), f.powers()
	in := f.trusted(powers)
	for h, power := range powers {
		if !in[h] {
			continue
		}
		a, w, turn := f.amps[h], 1/f.noise(h), 2*math.Pi*float64(h)
		// Noise makes |a|² too large by its own share, 1 in power.
		l := lead{power, w * turn * turn * abs2(a) * (1 - 1/power) / 2 * n, mat.NewVecDense(f.order, nil)}
		for p := 1; p <= f.order; p++ {
			// Re(j·a·conj(sum)), with what turns the harmonic as a whole taken out.
			sum := sums[p][h] - complex(mean[p], 0)*sums[0][h]
			l.gradient.SetVec(p-1, w*turn*(real(a)*imag(sum)-imag(a)*real(sum)))
		}
		out = append(out, l)
	}
	return out
}

// astrayShown is how much a harmonic must disagree with the rest to have no
// say, in squared standard uncertainties: one in 3 million does by chance. Where
// they all disagree, as those of a restless load do, it is more.
const astrayShown = 30.0

// agreed leaves out, one by one, what disagrees most with the rest, and returns
// what is left. A line that towers above all others stays: what disagrees with
// it is its own leakage.
func (f *combFit) agreed(all []lead, covariance *mat.Cholesky) []lead {
	slices.SortFunc(all, func(a, b lead) int { return cmp.Compare(a.power, b.power) })
	for len(all) > 1 {
		chi2 := f.disagreement(all, covariance)
		sorted := slices.Sorted(slices.Values(chi2))
		limit := astrayShown * math.Max(1, sorted[(len(sorted)-1)/2]/float64(f.order))
		last := len(all) - 1
		if all[last].power > sq(loneRatio)*all[last-1].power {
			chi2 = chi2[:last]
		}
		// The first of equals is the weakest.
		worst := slices.Index(chi2, slices.Max(chi2))
		if chi2[worst] < limit {
			break
		}
		all = slices.Delete(all, worst, worst+1)
	}
	return all
}

// disagreement is by how much each lead differs from all the others together: a
// chi-squared variate of as many degrees of freedom as the phase has powers.
func (f *combFit) disagreement(all []lead, covariance *mat.Cholesky) []float64 {
	out := make([]float64, len(all))
	sum, weight := total(all, f.order)
	for i, l := range all {
		var off, solved mat.VecDense
		share := l.weight / weight
		off.AddScaledVec(l.gradient, -share, sum)
		if covariance.SolveVecTo(&solved, &off) == nil {
			out[i] = mat.Dot(&off, &solved) / (l.weight * (1 - share))
		}
	}
	return out
}

// total adds leads up.
func total(all []lead, order int) (*mat.VecDense, float64) {
	sum, weight := mat.NewVecDense(order, nil), 0.0
	for _, l := range all {
		sum.AddVec(sum, l.gradient)
		weight += l.weight
	}
	return sum, weight
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
	f.cov = nil
	mean := spanMoments(f.s.spans, float64(f.s.stride), &f.phase, 2*f.order)
	covariance := covariances(mean, f.order)
	var chol mat.Cholesky
	if !chol.Factorize(covariance) {
		return
	}
	gradient, weight := total(f.agreed(f.leads(sums, mean), &chol), f.order)
	cov := mat.NewSymDense(f.order, nil)
	var move mat.VecDense
	if weight == 0 || chol.SolveVecTo(&move, gradient) != nil || chol.InverseTo(cov) != nil {
		return
	}
	cov.ScaleSym(1/weight, cov)
	f.cov = cov
	for p := 1; p <= f.order; p++ {
		f.phase.c[p] += move.AtVec(p-1) / weight
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
