package analysis

import (
	"math"
	"math/cmplx"
	"slices"

	"boardproof/testsignals"
)

// MainsHarmonic is one line of the mains comb.
type MainsHarmonic struct {
	// Harmonic counts from 1, the fundamental.
	Harmonic int
	// RMS is in volts. Where UpperBound is set its value is not exceeded, at
	// 95 % confidence, and Std is 0.
	RMS        Estimate
	UpperBound bool
	// PhaseRad is in the middle of the record, for a cosine whose fundamental
	// has phase 0 there; 0 for an upper bound.
	PhaseRad float64
	// Note, where not empty, says what else is known of it.
	Note string
}

// mainsLines is the comb over the whole band and what lies beneath it.
type mainsLines struct {
	comb    *Comb
	lengthS float64
	lines   []mainsLine // by harmonic
	// placedTo is the highest harmonic of which the mains frequency says where it
	// is.
	placedTo int
	// beside are the lines that the mains has beside its harmonics.
	beside []Tone
}

// mainsLine is one line. Powers are mean squares, densities V²/Hz.
type mainsLine struct {
	amp complex128 // peak
	// floor is the density under the line, noise that beside it.
	floor, noise float64
	// skirt is the power beside the line that noise does not explain: what a line
	// that flickers or wanders has there.
	skirt bandPower
	// band is the power at the place of a line that cannot be looked for as one.
	band *bandPower
	// stray: the line's own frequency is not the comb's. held is the RMS of a tone
	// that lies on it.
	stray bool
	held  float64
}

func (m *mainsLines) found() bool { return m.comb.Found }

// fitMainsLines finds the comb in y and takes all its lines up to 20 kHz off it. It
// need not look for one that was found before, where other tones are in the way no
// more.
func fitMainsLines(y []float64, rateHz float64, raw density, nominals []float64, before *Comb) *mainsLines {
	whole := testsignals.Span{Start: 0, End: len(y)}
	m := &mainsLines{lengthS: float64(len(y)) / rateHz}
	m.comb = findComb(y, []testsignals.Span{whole}, rateHz, nominals, before == nil, before)
	if !m.found() {
		return m
	}
	top := max(int(math.Min(NoiseHighHz, 0.45*rateHz)/m.comb.FrequencyHz.Value), searchHarmonics)
	m.lines, m.placedTo = make([]mainsLine, top+1), top
	floor := newSpectrumFloor(raw.psd, raw.binHz, raw.averages, 25, 25)
	for h := range m.lines {
		density := floor.at(float64(h) * m.comb.FrequencyHz.Value)
		if h < len(m.comb.noise) {
			density = math.Max(density, m.comb.noise[h])
		}
		m.lines[h].floor, m.lines[h].noise = density, density
	}
	m.fitAmplitudes(y, rateHz, before)
	return m
}

// amplitudeSteps is how often amplitudes are fitted to what they leave: each gains a
// hundred, as harmonics are almost orthogonal over many periods. A first look, from which
// other tones are found, and one that begins with what that gave take a step less.
const amplitudeSteps = 3

// fitAmplitudes fits all lines and takes those that stand out off y. Each half of the
// record is looked at by itself: a line of another frequency has turned between them.
func (m *mainsLines) fitAmplitudes(y []float64, rateHz float64, before *Comb) {
	f := newFolder(1, len(m.lines)-1, exactRing)
	whole, n := testsignals.Span{Start: 0, End: len(y)}, len(y)
	amps, rest := make([]complex128, len(m.lines)), slices.Clone(y)
	halves := [2]mainsBlock{{Span: testsignals.Span{Start: 0, End: n / 2}}, {Span: testsignals.Span{Start: n / 2, End: n}}}
	for i := range halves {
		if before == nil {
			halves[i].window = periodicHann(halves[i].Len())
		}
	}
	steps := amplitudeSteps - 1
	switch {
	case before != nil && len(before.Amplitudes) == len(amps):
		copy(amps, before.Amplitudes)
		f.addTo(rest, whole, amps, &m.comb.phase, -1)
	case before != nil:
		steps++
	}
	for range steps {
		first, second := f.amplitudes(rest, halves[0], &m.comb.phase), f.amplitudes(rest, halves[1], &m.comb.phase)
		amps[0] += (first[0] + second[0]) / 2
		for h := 1; h < len(amps); h++ {
			a, b := amps[h]+first[h], amps[h]+second[h]
			l := &m.lines[h]
			l.amp = (a + b) / 2
			l.stray = m.strays(h, a, b)
			amps[h] = l.amp
			if !m.takenOff(h) {
				amps[h] = 0
			}
		}
		copy(rest, y)
		f.addTo(rest, whole, amps, &m.comb.phase, -1)
	}
	m.comb.Amplitudes, m.comb.gain = amps, make([]float64, len(amps))
	for h, a := range amps {
		if h == 0 || a != 0 {
			m.comb.gain[h] = 1
		}
	}
	copy(y, rest)
}

// strays says whether a line whose amplitudes in the halves are a and b is not the
// comb's: its own frequency is another, or it is a line far up by itself and a clock's may
// lie there, or the mains frequency does not say closely enough where the comb's would be
// for it to be no chance. One
// of the first few is the mains's own, however it flickers.
func (m *mainsLines) strays(h int, a, b complex128) bool {
	if h <= loneAbove || !m.standsOut(h) {
		return false
	}
	turned := math.Abs(cmplx.Phase(b*cmplx.Conj(a))) / (2 * math.Pi)
	std := m.std(h) / m.rms(h) * 2 / (2 * math.Pi)
	if turned > math.Max(strayTurn, combLevel*Hypot(std, m.unplaced(h))) {
		return true
	}
	return (m.unplaced(h) > placedCycles || m.comb.fit.clocked(h)) && !m.accompanied(h)
}

// unplaced is how far the phase of the mains leaves that of a line open at worst, in
// cycles; unplacedHz what that comes to in frequency.
func (m *mainsLines) unplaced(h int) float64 { return float64(h) * math.Sqrt(m.comb.phaseVar) }

func (m *mainsLines) unplacedHz(h int) float64 { return 3 * m.unplaced(h) / (m.lengthS / 2) }

// placedCycles is within how much of a cycle the mains must say where a line is for one
// that is found there to be no chance.
const placedCycles = 0.2

// accompanied says whether others stand near a line past loneAbove, none so much
// weaker that it stands by itself.
func (m *mainsLines) accompanied(h int) bool {
	if h <= loneAbove {
		return true
	}
	for o := h - loneAbove; o <= h+loneAbove && o < len(m.lines); o++ {
		if o != h && m.standsOut(o) && m.rms(h) < loneRatio*m.rms(o) {
			return true
		}
	}
	return false
}

// std is the standard uncertainty of each quadrature of a harmonic's RMS:
// Kay (1993), example 3.14: √(S/2T) with S the density of the noise beside.
func (m *mainsLines) std(h int) float64 { return math.Sqrt(m.lines[h].noise / (2 * m.lengthS)) }

// rms is a harmonic's RMS as fitted, noise included.
func (m *mainsLines) rms(h int) float64 { return math.Sqrt(abs2(m.lines[h].amp) / 2) }

// standsOut asks more of the many lines past the 40th, so that noise shows
// one in 700 records.
func (m *mainsLines) standsOut(h int) bool {
	level := combLevel
	if h > searchHarmonics {
		level = 5
	}
	return h > 0 && m.rms(h) > level*m.std(h)
}

// takenOff says whether a line is taken off the record. The first 40 all are: what
// one of them that is under the noise shows is noise, and is given back.
func (m *mainsLines) takenOff(h int) bool { return m.standsOut(h) && !m.lines[h].stray }

const (
	// unplacedMostHz is from where on a line cannot be looked for.
	unplacedMostHz = 4.0
	// skirtShown is what a skirt must stand out by, in standard uncertainties.
	skirtShown = 4.0
	// hannTime is over how much of its length a record is averaged under a Hann
	// window: 1/1.94.
	hannTime = 1 / 1.94
)

// readBeside reads what lies beneath and beside the lines off the periodogram of what
// they leave, and off its floor.
func (m *mainsLines) readBeside(psd []float64, binHz float64, floor spectrumFloor) {
	for h := 1; h < len(m.lines); h++ {
		l, hz := &m.lines[h], float64(h)*m.comb.FrequencyHz.Value
		l.floor, l.noise = floor.at(hz), noiseBeside(psd, binHz, floor, hz)
		switch {
		case m.takenOff(h) || h <= loneAbove && !l.stray:
			if l.skirt = bandOver(psd, binHz, l.floor, hz, m.near(), m.lengthS); l.skirt.power < skirtShown*math.Sqrt(l.skirt.variance) {
				l.skirt = bandPower{}
			}
		case h > searchHarmonics && m.unplacedHz(h) > unplacedMostHz:
			m.placedTo = min(m.placedTo, h-1)
		case h > searchHarmonics && m.unplaced(h) > placedCycles:
			band := bandOver(psd, binHz, l.floor, hz, m.unplacedHz(h)+1.5/m.lengthS, m.lengthS)
			// The line beats with the noise beside it, under a Hann window.
			band.variance += 4 * math.Max(band.power, 0) * sq(m.std(h)) / hannTime
			l.band = &band
		}
	}
}

// bandOver is the power within reachHz of hz that noise of a density does not explain.
func bandOver(psd []float64, binHz, density, hz, reachHz, lengthS float64) bandPower {
	var b bandPower
	for k := max(1, int(math.Ceil((hz-reachHz)/binHz))); float64(k)*binHz <= hz+reachHz && k < len(psd); k++ {
		b.power += (psd[k] - density) * binHz
		b.variance += sq(density) * binHz / (lengthS * hannTime)
	}
	return b
}

const besideNote = "another line lies too near to tell the two apart, or it is not steady"

// besideShare of a line's power in its skirt is worth a note.
const besideShare = 1.0 / 400

// level is a line's, its skirt in it, less what noise alone would show.
func (m *mainsLines) level(h int) (rms Estimate, note string) {
	l, s2 := m.lines[h], sq(m.std(h))
	steady := math.Max(sq(m.rms(h))-l.floor/m.lengthS, 0)
	rms.Value = math.Sqrt(steady + l.skirt.power)
	// The whole skirt, or nothing of it, may be called the line's; and if it is another
	// line, what was fitted may hold some of it already.
	open := rms.Value - math.Sqrt(steady)
	rms.Std = math.Sqrt(s2 + l.skirt.variance/sq(2*rms.Value) + sq(open))
	if l.skirt.power > besideShare*steady {
		note = besideNote
	}
	return rms, note
}

const heldNote = "another line lies on it, or so near that it may be anything up to this"

func (m *mainsLines) harmonic(h int) MainsHarmonic {
	out, l := MainsHarmonic{Harmonic: h}, m.lines[h]
	switch {
	case l.held > 0:
		out.RMS.Value, out.UpperBound, out.Note = riceBound(m.rms(h)+l.held, m.std(h)), true, heldNote
	case !m.standsOut(h) && l.skirt.power == 0:
		out.RMS.Value, out.UpperBound = riceBound(m.rms(h), m.std(h)), true
	default:
		out.RMS, out.Note = m.level(h)
		out.PhaseRad = cmplx.Phase(l.amp)
	}
	return out
}

// power is a line's, less what noise alone would show in it.
func (m *mainsLines) power(h int) bandPower {
	l, s2 := m.lines[h], sq(m.std(h))
	switch {
	case l.held > 0:
		// The comb's own line is like its neighbours.
		return bandPower{0, sq(sq(m.strongestBeside(h)))}
	case l.band != nil:
		return *l.band
	case m.takenOff(h) || l.skirt.power > 0:
		rms, _ := m.level(h)
		return bandPower{sq(rms.Value), sq(2*rms.Value*rms.Std) + 4*sq(s2)}
	}
	p := sq(m.rms(h)) - 2*s2
	return bandPower{p, 4*math.Max(p, 0)*s2 + 4*sq(s2)}
}

// strongestBeside is the RMS of the strongest line within loneAbove of line h
// that stands out, 0 where none does.
func (m *mainsLines) strongestBeside(h int) float64 {
	most := 0.0
	for o := max(1, h-loneAbove); o <= min(h+loneAbove, len(m.lines)-1); o++ {
		if o != h && m.takenOff(o) && m.lines[o].held == 0 {
			most = math.Max(most, m.rms(o))
		}
	}
	return most
}

const (
	// besideBins over the length of a record is how far a tone reaches into
	// lines that can be told from it, and leftShare what may be left of it there:
	// a hundredth, where comb and tone are fitted in turn (own trials).
	besideBins = 4.0
	leftShare  = 0.01
)

// hold notes the tones that lie on lines, or so near that what shows of the
// line may be theirs. Of one that lies on a line, whatever of the comb's own
// was there has gone with it.
func (m *mainsLines) hold(tones []Tone) {
	for _, t := range tones {
		h := int(math.Round(t.FrequencyHz.Value / m.comb.FrequencyHz.Value))
		if h < 1 || h >= len(m.lines) {
			continue
		}
		l, away := &m.lines[h], math.Abs(t.FrequencyHz.Value-float64(h)*m.comb.FrequencyHz.Value)*m.lengthS
		switch left := leftShare * t.RMS.Value; {
		case away < sharedBins:
			l.held = math.Hypot(l.held, t.RMS.Value)
		case away < besideBins && m.rms(h) < left:
			l.held = math.Hypot(l.held, left)
		}
	}
}

// hum is the RMS of all lines that can be placed, each less the power that noise alone
// would show in it, seen or not: hundreds that are each under the noise may be most
// of it, and without a selection the sum is free of bias. Where it cannot be told from
// noise it is a bound.
func (m *mainsLines) hum() (rms Estimate, bound bool) {
	var all bandPower
	for h := 1; h <= m.placedTo; h++ {
		all = all.plus(m.power(h))
	}
	rms = all.rms()
	if rms.Std > unsureShare*rms.Value {
		return Estimate{Value: math.Sqrt(math.Max(all.power, 0) + 1.645*math.Sqrt(all.variance))}, true
	}
	return rms, false
}

const (
	// flickerHz is how near to a line what is weaker than the line is its flicker,
	// and near to one of the first few whatever does not stand still.
	flickerHz = 1.0
	// farSkirtHz is how far a line's skirt reaches. From flickerHz on it falls as that
	// of an oscillator whose frequency walks at random, by the fourth power, from
	// besideShare: 70 dB under the line in the end. Records of the mains have single
	// peaks 76 to 85 dB under it there (ENF-WHU data set, the records in testdata).
	farSkirtHz = 12.5
	// skirtDensity is that of the skirt there, of the line's power in a hertz: the
	// median in those records lies 89 to 97 dB under the line in bins of 1/16 s.
	skirtDensity = 1e-8
)

// explains reports whether a peak of what the lines leave is the mains's own.
func (m *mainsLines) explains(p tonePeak) bool {
	if !m.found() {
		return false
	}
	h := int(math.Round(p.hz / m.comb.FrequencyHz.Value))
	if h < 1 || h >= len(m.lines) || m.lines[h].stray {
		return false
	}
	away := math.Abs(p.hz - float64(h)*m.comb.FrequencyHz.Value)
	// A Hann window makes a line 2T/3 of its power in density.
	power, own := p.power*p.noise*1.5/m.lengthS, sq(m.rms(h))
	near := m.near()
	switch {
	case away < near && (h <= loneAbove || m.takenOff(h) && power < own):
		return true
	case m.takenOff(h):
		return away < farSkirtHz && power < besideShare*own*math.Min(1, math.Pow(away/near, -4))
	}
	// Where it is not known where a line is, a peak may be it, if it is no stronger
	// than those that are known.
	return m.unplaced(h) > placedCycles && away < 2/m.lengthS+m.unplacedHz(h) && power < sq(m.strongest())
}

// near is how near to a line what is weaker than the line is its flicker, in hertz.
func (m *mainsLines) near() float64 { return math.Max(flickerHz, 2/m.lengthS) }

// interharmonic says whether a peak is one of the lines beside its harmonics that loads
// give a mains: up to the 6th harmonic, 60 dB under the strongest of them. In records of
// the mains they are 64 dB under the fundamental and less (ENF-WHU data set, the
// records in testdata); IEC 61000-2-2 allows 54 dB (from memory).
func (m *mainsLines) interharmonic(p tonePeak) bool {
	power := p.power * p.noise * 1.5 / m.lengthS
	return m.found() && p.hz < (loneAbove+0.5)*m.comb.FrequencyHz.Value && power < interharmonicShare*sq(m.strongest())
}

const interharmonicShare = 1e-6

// strongest is the RMS of the strongest line.
func (m *mainsLines) strongest() float64 {
	most := 0.0
	for h := range m.lines {
		if m.takenOff(h) {
			most = math.Max(most, m.rms(h))
		}
	}
	return most
}

// taken returns what was taken off.
func (m *mainsLines) taken() []line {
	var out []line
	for h := range m.lines {
		if m.takenOff(h) {
			out = append(out, line{float64(h) * m.comb.FrequencyHz.Value, m.rms(h), m.std(h)})
		}
	}
	return out
}

// reaches lists where the lines up to 20 kHz are, and how far their skirts show above
// the noise.
func (m *mainsLines) reaches(floor spectrumFloor) []reach {
	var out []reach
	for h := 1; h < len(m.lines); h++ {
		r := reach{hz: float64(h) * m.comb.FrequencyHz.Value}
		// The noise is that between the lines, out of reach of this one's skirt.
		between := math.Min(floor.at(r.hz-m.comb.FrequencyHz.Value/2), floor.at(r.hz+m.comb.FrequencyHz.Value/2))
		if m.takenOff(h) && sq(m.rms(h))*skirtDensity > between {
			r.beside = farSkirtHz
		}
		out = append(out, r)
	}
	return out
}
