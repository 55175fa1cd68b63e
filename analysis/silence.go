package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/floats"
)

// MinSilenceS is the shortest record that noise is read from.
const MinSilenceS = 0.5

// SilenceOptions are what is known beforehand. The zero value knows nothing.
type SilenceOptions struct {
	// NominalMainsHz is 50 or 60, 0 if not known.
	NominalMainsHz float64
	// ClockStdPPM is the standard uncertainty of the recorder's clock; it
	// bears on the mains frequency that is stated.
	ClockStdPPM float64
}

// Silence is what one input recorded while nothing was played.
type Silence struct {
	// RateHz is the rate at which it was read, which may be lower than that of
	// the record; LengthS the length of the record.
	RateHz, LengthS float64
	// Reason, where not empty, says why nothing could be read; the rest is
	// then empty.
	Reason string
	// Noise is all that is there from 20 Hz to 20 kHz, Hiss what is left of it
	// without mains comb and tones: RMS volts by weighting.
	Noise, Hiss map[string]Estimate
	// Mains is the comb. Harmonics are its first 40 lines; they are upper
	// bounds where no comb was found, at each nominal frequency that may be meant.
	Mains     *Comb
	Harmonics []MainsHarmonic
	// HighHarmonics are the comb's lines past the 40th that stand out.
	HighHarmonics []MainsHarmonic
	// Hum is the RMS of the whole comb in volts, or its upper bound.
	Hum           Estimate
	HumUpperBound bool
	// Tones are the other lines, strongest first.
	Tones        []Tone
	ThirdOctaves []ThirdOctave
	Density      DensityCurve
	clockStdPPM  float64
	hissOctaves  []ThirdOctave
	// humTo is the harmonic past which weak ones are not in Hum, because the
	// mains frequency does not say where they are; 0 where all are.
	humTo      int
	steadiness steadiness
	// lines are the comb's, nil where none was found.
	lines *mainsLines
	// boundAt are the nominal frequencies that the bounds are for.
	boundAt []float64
	// By harmonic: power and variance of a quadrature; bounds where no comb
	// was found.
	linePowers   []bandPower
	lineVariance []float64
	lineBounds   []float64
}

// AnalyseSilence reads noise, hum and tones from x, in volts, recorded at
// rateHz while nothing was played. A record that is too short, or one value
// throughout, gives a Silence with a Reason. A sample that is not finite is
// an error.
func AnalyseSilence(x []float64, rateHz float64, opt SilenceOptions) (*Silence, error) {
	return analyseScaled(x, 1, rateHz, opt)
}

// analyseScaled is AnalyseSilence of scale times x.
func analyseScaled(x []float64, scale, rateHz float64, opt SilenceOptions) (*Silence, error) {
	nominals, err := mainsNominals(opt.NominalMainsHz)
	whole := []testsignals.Span{{Start: 0, End: len(x)}}
	if err == nil && len(x) == 0 {
		err = errors.New("the record is empty")
	}
	if err == nil {
		err = checkSpans(len(x), rateHz, whole)
	}
	if err == nil {
		err = checkFinite(x)
	}
	if err != nil {
		return nil, fmt.Errorf("analysing silence: %w", err)
	}
	s := &Silence{RateHz: rateHz, LengthS: float64(len(x)) / rateHz, clockStdPPM: opt.ClockStdPPM}
	switch {
	case s.LengthS < MinSilenceS:
		s.Reason = fmt.Sprintf("the silence lasts %.2f s, less than %g s", s.LengthS, MinSilenceS)
	case isConstant(x):
		s.Reason = "all samples have one value: nothing was recorded"
	default:
		if s.Reason = held(x, rateHz); s.Reason == "" {
			x, s.RateHz = thinned(x, rateHz)
			s.analyse(x, scale, nominals)
			s = s.inPieces(x, scale, nominals)
		}
	}
	return s, nil
}

func isConstant(x []float64) bool {
	return !slices.ContainsFunc(x, func(v float64) bool { return v != x[0] })
}

// restlessPieceS is how far a mains that swings is followed from one guess of its drift.
const restlessPieceS = 10.0

// inPieces reads x in pieces and takes their mean where it is long and its mains may
// swing too far to be found in all of it at once. Anywhere else one fit of all of it
// sees further into the noise.
func (s *Silence) inPieces(x []float64, scale float64, nominals []float64) *Silence {
	n := int(math.Ceil(s.LengthS / restlessPieceS))
	if s.LengthS < 1.2*restlessPieceS || s.Mains.Found {
		return s
	}
	pieces := make([]*Silence, n)
	for i := range pieces {
		piece := x[i*len(x)/n : (i+1)*len(x)/n]
		pieces[i] = &Silence{RateHz: s.RateHz, LengthS: float64(len(piece)) / s.RateHz, clockStdPPM: s.clockStdPPM}
		if pieces[i].analyse(piece, scale, nominals); !pieces[i].Mains.Found {
			return s
		}
	}
	out := meanSilence(pieces)
	out.steadiness = s.steadiness
	return out
}

// analyse reads scale times x.
func (s *Silence) analyse(x []float64, scale float64, nominals []float64) {
	whole := []testsignals.Span{{Start: 0, End: len(x)}}
	segLen := welchLength(whole, s.RateHz)
	// The lines are taken off in place, and where the whole is asked for once
	// more it is made again: it is large.
	rest, _ := withoutMean(x, scale, whole)
	raw, moves := welch(rest, whole, s.RateHz, segLen), piecePowers(rest, s.RateHz, humBand(s.RateHz))
	lined := slices.Clone(rest)
	mains := fitMainsLines(rest, s.RateHz, raw, nominals, true, nil)
	floats.Sub(lined, rest)
	s.Tones = takeTones(rest, s.RateHz, mains)
	// Tones leak into the comb's lines and can hide them, so the first look kept
	// them out by a window; with the tones out of the way none is needed.
	floats.Add(rest, lined)
	others := append(toneLines(s.Tones), toneLines(mains.beside)...)
	if reason := mains.comb.Reason; mains.found() || len(s.Tones) > 0 {
		mains = fitMainsLines(rest, s.RateHz, raw, nominals, false, mains.comb)
		if !mains.found() && reason == eitherMains {
			// The line in question has gone with the tones.
			mains.comb.Reason = eitherMains
		}
	}
	hiss := welch(rest, whole, s.RateHz, segLen)
	s.steadiness = newSteadiness(moves, rest, s.RateHz, raw, hiss)
	floor := newSpectrumFloor(hiss.psd, hiss.binHz, hiss.averages, max(12, 4*hiss.binHz), 100)

	s.Mains = mains.comb
	switch {
	case mains.found() && !s.swings(mains.comb.FrequencyHz.Value):
		psd, binHz := periodogram(rest, s.RateHz)
		mains.readBeside(psd, binHz, floor)
		mains.hold(s.Tones)
		s.readLines(mains)
		s.lines = mains
	case mains.found():
		y, _ := withoutMean(x, scale, whole)
		s.boundLines(floor, y, y, []float64{mains.comb.FrequencyHz.Value})
	default:
		y, _ := withoutMean(x, scale, whole)
		s.boundLines(floor, rest, y, nominals)
	}
	s.dropMains()
	nameFamilies(s.Tones, mains, s.LengthS)
	lines := append(mains.taken(), others...)
	giveBack(hiss, floor, lines, s.LengthS)
	reaches := mains.reaches(floor)
	for _, l := range others {
		reaches = append(reaches, reach{hz: l.freqHz})
	}
	excise(&hiss, reaches)
	s.Noise = noiseLevels(raw, hiss, lines)
	s.Hiss = noiseLevels(hiss, hiss, nil)
	s.ThirdOctaves = thirdOctaves(raw, hiss, lines)
	s.hissOctaves = thirdOctaves(hiss, hiss, nil)
	s.Density = densityCurve(raw, hiss)
}

// boundLines bounds the lines of y, in which no comb was found, and with them the hum: at
// whichever of the nominal frequencies there may be more. rest is y without its tones.
func (s *Silence) boundLines(floor spectrumFloor, rest, y []float64, nominals []float64) {
	s.HumUpperBound, s.lineBounds, s.boundAt = true, make([]float64, searchHarmonics+1), nominals
	without, binHz := periodogram(rest, s.RateHz)
	with, _ := periodogram(y, s.RateHz)
	for _, hz := range nominals {
		power, swings := 0.0, s.swings(hz)
		for i := range searchHarmonics {
			psd, h := without, i+1
			if swings || s.mayBeMains(hz*float64(h)) {
				psd = with
			}
			bound := boundHarmonic(psd, binHz, float64(len(y))/s.RateHz, floor, hz*float64(h))
			if i == len(s.Harmonics) {
				s.Harmonics = append(s.Harmonics, MainsHarmonic{Harmonic: h, UpperBound: true})
			}
			most := math.Max(s.Harmonics[i].RMS.Value, bound)
			s.Harmonics[i].RMS.Value, s.lineBounds[h] = most, most
			power += sq(bound)
		}
		s.Hum.Value = math.Max(s.Hum.Value, math.Sqrt(power))
	}
}

// dropMains takes what is left of a mains that could not be followed out of the
// other tones.
func (s *Silence) dropMains() {
	for _, hz := range s.boundAt {
		if !s.swings(hz) {
			continue
		}
		var own []float64
		for h := 1.0; h <= searchHarmonics; h++ {
			if h <= loneAbove || s.mayBeMains(h*hz) {
				own = append(own, h*hz)
			}
		}
		s.Mains = &Comb{Reason: swingsTooFar}
		s.Tones = slices.DeleteFunc(s.Tones, func(t Tone) bool {
			return slices.ContainsFunc(own, func(hz float64) bool { return inMainsBand(t, hz) })
		})
	}
}

// swings says whether there is a mains near hz that could not be followed: of a line that
// swings too far the comb takes a part, or none, and several tones are left.
func (s *Silence) swings(hz float64) bool {
	for h := 1.0; h <= loneAbove && s.Mains.Reason != eitherMains; h++ {
		if s.mayBeMains(h * hz) {
			return true
		}
	}
	return false
}

func inMainsBand(t Tone, hz float64) bool { return math.Abs(t.FrequencyHz.Value/hz-1) < mainsBand }

// mayBeMains says whether the tones around hz, a harmonic of a mains that was not
// found, may be the mains itself: a line that swings too far to be followed falls
// apart into several. A single tone is another's, but where it is the line in question, or
// at the mains's own frequency, where there is nothing else.
func (s *Silence) mayBeMains(hz float64) bool {
	tones := 0
	for _, t := range s.Tones {
		if inMainsBand(t, hz) {
			tones++
		}
	}
	return tones > 1 || tones == 1 && (s.Mains.Reason == eitherMains || slices.Contains(s.boundAt, hz))
}

func toneLines(tones []Tone) []line {
	var out []line
	for _, t := range tones {
		out = append(out, line{t.FrequencyHz.Value, t.RMS.Value, t.RMS.Std})
	}
	return out
}

// giveBack adds to d the noise that went with the lines: a fit of two
// quadratures takes S/T with it.
func giveBack(d density, floor spectrumFloor, lines []line, lengthS float64) {
	for _, l := range lines {
		k := int(math.Round(l.freqHz / d.binHz))
		if k < len(d.psd) {
			d.psd[k] += floor.at(l.freqHz) / (lengthS * d.binHz)
		}
	}
}
