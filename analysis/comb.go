package analysis

import (
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mathext"
)

// Comb is the mains comb found in a record: one phase that all harmonics
// share, and the complex amplitude of each.
type Comb struct {
	// Found is false where no mains comb stands out of the noise; Reason then
	// says so, and the rest is empty.
	Found  bool
	Reason string
	// FrequencyHz is the mean over the record, DriftHzPerS the steady part of its
	// rate of change.
	FrequencyHz, DriftHzPerS Estimate
	// Amplitudes are peak, in the unit of the record: Re(a·e^(j2πhφ)), φ in
	// cycles from the middle of the record; the first is 0.
	Amplitudes []complex128

	phase mainsPhase
	// phaseVar is the largest variance of the phase, in cycles², at a time within
	// the record against its mean over what was fitted.
	phaseVar float64
	// noise is the density beside each harmonic, of the search.
	noise []float64
	fit   *combFit
	// gain is by how much of each harmonic is taken off, within extent.
	gain   []float64
	extent testsignals.Span
	// left is the mean square of the amplitude that is left of each harmonic then;
	// nil where that is not asked.
	left []float64
	// wanders: the frequency did more than drift steadily.
	wanders bool
}

// combLevel is how far a harmonic's amplitude must stand above the standard
// uncertainty of one of its quadratures to be told from noise: noise alone
// does so once in 3000 harmonics (e^−8). standsOutPower is that in power over noise.
const (
	combLevel      = 4.0
	standsOutPower = combLevel * combLevel / 2
)

const (
	noComb = "no mains comb stands out of the noise"
	// swingsTooFar is why a mains that is heard gives no frequency and no lines.
	swingsTooFar = "the mains swings too far, or too fast, to be followed"
	// eitherMains is why lines near 300 Hz alone give no mains frequency.
	eitherMains = "what stands out of the noise would be the 6th harmonic of 50 Hz or the 5th of 60 Hz"
)

// findComb looks for the comb in the spans of x, which must be free of DC.
// The amplitudes it returns are those of the search's 40 harmonics in the
// decimated record. tapered looks through windows that keep other tones out, for a
// few percent of the frequency's uncertainty. before, where not nil, is a comb that
// was found in nearly the same record: it is where the fit then starts.
func findComb(x []float64, spans []testsignals.Span, rateHz float64, nominals []float64, tapered bool, before *Comb) *Comb {
	s := newMainsSearch(x, spans, rateHz)
	if s.longestS() < 0.2 {
		return &Comb{Reason: "too short to find the mains frequency in"}
	}
	var f *combFit
	if before != nil && before.Found {
		f = before.fit.again(s, tapered)
		f.run()
	} else {
		f = s.best(nominals, tapered)
	}
	c := f.comb(len(nominals) > 1)
	c.extent = testsignals.Span{Start: spans[0].Start, End: spans[len(spans)-1].End}
	return c
}

// plainPower over noise in all harmonics is enough to trust a search in short
// pieces.
const plainPower = 1000

// best is the best fit. Short pieces are searched first: there a wander smears the
// least. Whole spans find what is too weak for that.
func (s *mainsSearch) best(nominals []float64, tapered bool) *combFit {
	f := s.fit(math.Min(1, s.longestS()), nominals, tapered)
	if s.longestS() > 2 && f.explained() < plainPower {
		if whole := s.fit(s.longestS(), nominals, tapered); whole.better(f) {
			return whole
		}
	}
	return f
}

// fit searches with pieces of one length and fits the best guess of each merit; of
// the two fits the better is taken.
func (s *mainsSearch) fit(pieceS float64, nominals []float64, tapered bool) *combFit {
	spectra := s.spectra(s.pieces(pieceS))
	var best *combFit
	for _, of := range []merit{likelihood, manyLines} {
		top, guesses := mainsGuess{score: math.Inf(-1)}, s.guesses(spectra, pieceS, nominals, of)
		// Both at one place: the second would only find the same again.
		if best != nil && math.Abs(guesses[0].hz-best.first.hz) < 0.05/pieceS {
			break
		}
		for _, g := range guesses {
			if g = s.lock(g, spectra.floor, pieceS, of); g.score > top.score {
				top = g
			}
		}
		f := newCombFit(s, top, spectra.floor, tapered)
		f.first = guesses[0]
		f.run()
		if best == nil || f.better(best) {
			best = f
		}
	}
	return best
}

// A line past loneAbove is no evidence of a mains by itself, but may be some clock's
// or converter's that happens to lie on the comb: the mains shows others within
// loneAbove of it, none loneRatio times weaker. Common practice, no source.
const (
	loneAbove = 6
	loneRatio = 5.0
)

// accompanied are the powers over noise of harmonics, 0 for those that stand by
// themselves.
func accompanied(powers []float64) []float64 {
	out := powers
	for h := loneAbove + 1; h < len(powers); h++ {
		if powers[h] <= standsOutPower {
			continue
		}
		most := 0.0
		for o := h - loneAbove; o <= h+loneAbove && o < len(powers); o++ {
			if o != h {
				most = math.Max(most, powers[o])
			}
		}
		if most < standsOutPower || powers[h] > sq(loneRatio)*most {
			if &out[0] == &powers[0] {
				out = slices.Clone(powers)
			}
			out[h] = 0
		}
	}
	return out
}

// evidence are the powers over noise of the harmonics, 0 for those of another
// frequency and those that stand by themselves.
func (f *combFit) evidence() []float64 {
	out := slices.Clone(accompanied(f.powers()))
	for h := range f.strayHz {
		if f.strays(h) && out[h] > standsOutPower {
			out[h] = 0
		}
	}
	return out
}

// explained is the power over noise of all harmonics together.
func (f *combFit) explained() float64 {
	sum := 0.0
	for _, p := range f.evidence() {
		sum += p
	}
	return sum
}

// lines are the harmonics that stand out.
func (f *combFit) lines() []int {
	var out []int
	for h, power := range f.evidence() {
		if power > standsOutPower {
			out = append(out, h)
		}
	}
	return out
}

// better prefers what is significant, then what has clearly more lines, for one
// strong line that is no mains's counts for less than many that are, then
// what explains more.
func (f *combFit) better(o *combFit) bool {
	if a, b := f.significant(), o.significant(); a != b {
		return a
	}
	if n, m := len(f.lines()), len(o.lines()); n >= m+2 || m >= n+2 {
		return n > m
	}
	return f.explained() > o.explained()
}

// fewHigh lines past loneAbove lie on one comb or another whatever they are.
const fewHigh = 2

// significant decides whether there is a comb. The frequency was chosen
// among many to make the comb look strong, so the odds are over all of them:
// below one record of noise in a thousand, either by one harmonic or by all
// together. Lines that are all multiples of, say, 500 Hz are no mains comb but
// some clock's, and two that are high up no comb at all.
func (f *combFit) significant() bool {
	lengthS := 2 * f.s.halfS
	driftCells := math.Max(1, 2*maxDriftHzPerS*searchHarmonics*lengthS*lengthS/8)
	cells := 2 * (mainsUnder + mainsOver) * (50 + 60) * searchHarmonics * lengthS * driftCells
	odds := 1e-3 / cells
	powers, lines := f.evidence(), f.lines()
	if f.smooth == nil || len(lines) == 0 || common(lines) > loneAbove || len(lines) <= fewHigh && lines[0] > loneAbove {
		return false
	}
	return slices.Max(powers) > math.Log(searchHarmonics/odds) || mathext.GammaIncRegComp(searchHarmonics, f.explained()) < odds
}

// common is the greatest divisor of all, 0 of none.
func common(lines []int) int {
	divisor := 0
	for _, h := range lines {
		for a := h; a != 0; {
			divisor, a = a, divisor%a
		}
	}
	return divisor
}

// comb returns what was fitted, if it is one. any: 50 Hz and 60 Hz were looked for,
// and then multiples of 300 Hz are a comb of either.
func (f *combFit) comb(any bool) *Comb {
	if !f.significant() {
		return &Comb{Reason: noComb}
	}
	frequency, drift := f.smooth.frequency(), f.smooth.drift()
	frequency.Value += f.guess.hz
	drift.Value += f.guess.hzPerS
	if any && math.Round(frequency.Value/10)*10*float64(common(f.lines())) == 300 {
		return &Comb{Reason: eitherMains}
	}
	if len(f.s.spans) > 1 && !f.bridged() {
		return &Comb{Reason: "the mains phase cannot be carried across the gap"}
	}
	return &Comb{
		Found: true, FrequencyHz: frequency, DriftHzPerS: drift, Amplitudes: slices.Clone(f.amps),
		phase: f.phase, phaseVar: f.worstPhaseVariance(), noise: f.noise,
		fit: f, wanders: f.smooth.walk > f.walk,
	}
}

// worstPhaseVariance is the largest variance of the fundamental's phase, in cycles²,
// against its mean over the blocks.
func (f *combFit) worstPhaseVariance() float64 {
	times, weights := []float64{0}, []float64{1}
	for _, b := range f.blocks {
		times, weights = append(times, b.centreS), append(weights, -1/float64(len(f.blocks)))
	}
	worst := 0.0
	const places = 20
	for i := range places + 1 {
		times[0] = 2 * f.s.halfS * float64(i) / places
		worst = math.Max(worst, f.smooth.variance(times, weights))
	}
	return worst
}
