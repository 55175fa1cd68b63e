package analysis

import (
	"math"
	"math/cmplx"
	"slices"

	"boardproof/testsignals"
)

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
	// flickers: the skirt is there for certain.
	flickers bool
	// band is the power at the place of a line that cannot be looked for as one.
	band *bandPower
	// stray: the line's own frequency is not the comb's. held is the RMS of a tone
	// that lies on it.
	stray bool
	held  float64
}

func (m *mainsLines) found() bool { return m.comb.Found }

// fitMainsLines finds the comb in y and takes all its lines up to 20 kHz off it. It
// need not look for one that was found before. tapered keeps other tones out.
func fitMainsLines(y []float64, rateHz float64, raw density, nominals []float64, tapered bool, before *Comb) *mainsLines {
	whole := testsignals.Span{Start: 0, End: len(y)}
	m := &mainsLines{lengthS: float64(len(y)) / rateHz}
	m.comb = findComb(y, []testsignals.Span{whole}, rateHz, nominals, tapered, before)
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
	m.fitAmplitudes(y, tapered, before)
	return m
}

// amplitudeSteps is how often amplitudes are fitted to what they leave: each gains a
// hundred, as harmonics are almost orthogonal over many periods. A first look, from which
// other tones are found, and one that begins with what that gave take a step less.
const amplitudeSteps = 3

// fitAmplitudes fits all lines and takes those that stand out off y. Each half of the
// record is looked at by itself: a line of another frequency has turned between them.
func (m *mainsLines) fitAmplitudes(y []float64, tapered bool, before *Comb) {
	f := newFolder(1, len(m.lines)-1, exactRing)
	whole, n := testsignals.Span{Start: 0, End: len(y)}, len(y)
	amps, rest := make([]complex128, len(m.lines)), slices.Clone(y)
	halves := [2]mainsBlock{{Span: testsignals.Span{Start: 0, End: n / 2}}, {Span: testsignals.Span{Start: n / 2, End: n}}}
	for i := range halves {
		if tapered {
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
		powers := make([]float64, len(amps))
		for h := 1; h < len(amps); h++ {
			first[h], second[h] = amps[h]+first[h], amps[h]+second[h]
			m.lines[h].amp = (first[h] + second[h]) / 2
			powers[h] = sq(m.rms(h)/m.std(h)) / 2
		}
		powers = accompanied(powers)
		for h := 1; h < len(amps); h++ {
			l := &m.lines[h]
			l.stray = m.strays(h, first[h], second[h], powers[h] == 0)
			if amps[h] = l.amp; !m.takenOff(h) {
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
// comb's: its own frequency is another, or it is alone far up and a clock's may
// lie there, or the mains frequency does not say closely enough where the comb's would be
// for it to be no chance. One of the first few is the mains's own, however it flickers.
func (m *mainsLines) strays(h int, a, b complex128, alone bool) bool {
	if h <= loneAbove || !m.standsOut(h) {
		return false
	}
	turned := math.Abs(cmplx.Phase(b*cmplx.Conj(a))) / (2 * math.Pi)
	std := m.std(h) / m.rms(h) * 2 / (2 * math.Pi)
	clocked, open := m.comb.fit.clocked(h), m.unplaced(h)
	if clocked {
		open = 0 // another line is as likely as a phase that was not followed
	}
	if turned > math.Max(strayTurn, combLevel*Hypot(std, open)) || clocked && h <= searchHarmonics && m.comb.fit.bent[h] {
		return true
	}
	return (m.unplaced(h) > placedCycles || clocked) && alone
}

// unplaced is how far the phase of the mains leaves that of a line open at worst, in
// cycles; unplacedHz what that comes to in frequency.
func (m *mainsLines) unplaced(h int) float64 { return float64(h) * math.Sqrt(m.comb.phaseVar) }

func (m *mainsLines) unplacedHz(h int) float64 { return 3 * m.unplaced(h) / (m.lengthS / 2) }

// placedCycles is within how much of a cycle the mains must say where a line is for one
// that is found there to be no chance.
const placedCycles = 0.2

// std is the standard uncertainty of each quadrature of a harmonic's RMS:
// Kay (1993), example 3.14: √(S/2T) with S the density of the noise beside.
func (m *mainsLines) std(h int) float64 { return math.Sqrt(m.lines[h].noise / (2 * m.lengthS)) }

// rms is a harmonic's RMS as fitted, noise included.
func (m *mainsLines) rms(h int) float64 { return math.Sqrt(sqAbs(m.lines[h].amp) / 2) }

// standsOut asks more of the many lines past the 40th, so that noise shows
// one in 700 records.
func (m *mainsLines) standsOut(h int) bool {
	level := combLevel
	if h > searchHarmonics {
		level = 5
	}
	return h > 0 && m.rms(h) > level*m.std(h)
}

// takenOff says whether a line is taken off the record.
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
			l.skirt = bandOver(psd, binHz, l.floor, hz, m.near(), m.lengthS)
			l.flickers = l.skirt.power > skirtShown*math.Sqrt(l.skirt.variance)
			switch {
			case !l.flickers && h > loneAbove:
				l.skirt = bandPower{}
			case l.skirt.power < 0:
				l.skirt.power = 0
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
