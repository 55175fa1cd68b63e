package analysis

import (
	"math"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mat"
)

// Comb is the mains comb found in a record: one phase that all harmonics
// share, and the complex amplitude of each.
type Comb struct {
	// Found is false where no mains comb stands out of the noise; Reason then
	// says so, and the rest is empty.
	Found  bool
	Reason string
	// FrequencyHz is the mean over the record, DriftHzPerS its rate of change.
	FrequencyHz, DriftHzPerS Estimate
	// Amplitudes are peak, in the unit of the record: Re(a·e^(j2πhφ)), φ in
	// cycles from the middle of the record; the first is the constant.
	Amplitudes []complex128

	phase mainsPhase
	order int           // of the phase
	cov   *mat.SymDense // of phase.c[1:order+1]
	floor spectrumFloor // as far up as the search went
	// strangers are the harmonics of the search at which another line stands.
	strangers []bool
	// gain is by how much of each harmonic is taken off, within extent.
	gain   []float64
	extent testsignals.Span
	// left is the mean square of the amplitude that is left of each harmonic then;
	// nil where that is not asked.
	left []float64
	// restless: the phase needed the highest power there is, and maybe more.
	restless bool
}

// combLevel is how far a harmonic's amplitude must stand above the standard
// uncertainty of one of its quadratures to be told from noise: noise alone
// does so once in 3000 harmonics (e^−8).
const combLevel = 4.0

// findComb looks for the comb in the spans of x, which must be free of DC.
// The amplitudes it returns are those of the search's 40 harmonics in the
// decimated record; the phase is final. before, where not nil, is a comb that
// was found in nearly the same record: it is where the fit then starts.
func findComb(x []float64, spans []testsignals.Span, rateHz float64, nominals []float64, before *Comb) *Comb {
	none := &Comb{Reason: noComb}
	s := newMainsSearch(x, spans, rateHz)
	if s.longestS() < 0.2 {
		none.Reason = "too short to find the mains frequency in"
		return none
	}
	s.anyMains = len(nominals) > 1
	fit := s.search(nominals, before)
	c := fit.comb()
	c.extent = testsignals.Span{Start: spans[0].Start, End: spans[len(spans)-1].End}
	return c
}

func (s *mainsSearch) search(nominals []float64, before *Comb) *combFit {
	if before != nil && before.Found {
		f := newCombFit(s, mainsGuess{}, before.floor)
		f.phase = before.phase.steady(f.order)
		f.step()
		f.wander()
		return f
	}
	for range mostStrangers {
		if f := s.best(nominals); f != nil {
			return f
		}
	}
	s.asItIs = true
	return s.best(nominals)
}

// best is the best fit with pieces of any length, nil where fit gives none.
func (s *mainsSearch) best(nominals []float64) *combFit {
	// Short pieces first: there a drift smears the least. Whole spans find
	// what is too weak for that.
	f := s.fit(math.Min(1, s.longestS()), nominals)
	if f != nil && s.longestS() > 2 && f.explained() < plainPower {
		if whole := s.fit(s.longestS(), nominals); whole == nil || whole.better(f) {
			return whole
		}
	}
	return f
}

// plainPower over noise in all harmonics is enough to trust a search in short
// pieces.
const plainPower = 1000

const (
	noComb = "no mains comb stands out of the noise"
	// eitherMains is why lines near 300 Hz alone give no mains frequency.
	eitherMains = "what stands out of the noise would be the 6th harmonic of 50 Hz or the 5th of 60 Hz"
)

// fit searches with pieces of one length and fits the best guess of each
// merit. Of the two fits the better is taken. It gives nil where other lines
// led the search and were taken off: then it is worth another.
func (s *mainsSearch) fit(pieceS float64, nominals []float64) *combFit {
	spectra := s.spectra(s.pieces(pieceS))
	var fits []*combFit
	coarse := math.Inf(1)
	for _, of := range []merit{likelihood, manyLines} {
		guesses := s.guesses(spectra, pieceS, nominals, of)
		// Both at one place: the second would only find the same again.
		if math.Abs(guesses[0].hz-coarse) < 0.05/pieceS {
			break
		}
		coarse = guesses[0].hz
		best := mainsGuess{score: math.Inf(-1)}
		for _, g := range guesses {
			if g = s.lock(g, spectra.floor, pieceS, of); g.score > best.score {
				best = g
			}
		}
		f := newCombFit(s, best, spectra.floor)
		if f.takeStrangers() {
			return nil
		}
		f.run()
		fits = append(fits, f)
	}
	if len(fits) == 2 && fits[1].better(fits[0]) {
		return fits[1]
	}
	return fits[0]
}
