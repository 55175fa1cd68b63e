package analysis

import (
	"math"

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

// solveShare is how still the amplitudes must stand, of the largest, for the
// joint fit to be done: what is left is a hundred times less, as each step
// gains that.
const solveShare = 1e-5

// mainsLines is the comb over the whole band and the noise beneath it.
type mainsLines struct {
	comb    *Comb
	lengthS float64
	noise   []float64 // V²/Hz by harmonic
	// beside is the mean square of what stands out of the noise so near a line
	// that it was taken for a part of it, by harmonic.
	beside map[int]float64
	// held is the RMS of a tone that lies on a line, by harmonic.
	held map[int]float64
}

// fitMainsLines finds the comb in y and fits all its lines up to 20 kHz. It
// need not look for one that was found before.
func fitMainsLines(y []float64, rateHz float64, raw density, nominals []float64, before *Comb) *mainsLines {
	whole := []testsignals.Span{{Start: 0, End: len(y)}}
	m := &mainsLines{lengthS: float64(len(y)) / rateHz}
	m.comb = findComb(y, whole, rateHz, nominals, before)
	if m.found() {
		m.fitAmplitudes(y, rateHz, raw, before)
	}
	return m
}

func (m *mainsLines) found() bool { return m.comb.Found }

// fitAmplitudes fits the first 40 harmonics jointly with all those above
// that one look shows to be there.
func (m *mainsLines) fitAmplitudes(y []float64, rateHz float64, raw density, before *Comb) {
	c := m.comb
	top := int(math.Min(NoiseHighHz, 0.45*rateHz) / c.FrequencyHz.Value)
	f := newFolder([]testsignals.Span{{Start: 0, End: len(y)}}, 1, max(top, searchHarmonics), exactRing)
	start := c
	if before != nil && before.Found {
		start = before
	}
	c.Amplitudes = append(start.Amplitudes[:len(start.Amplitudes):len(start.Amplitudes)], make([]complex128, f.harmonics)...)[:f.harmonics+1]
	m.setNoise(newSpectrumFloor(raw.psd, raw.binHz, raw.averages, 25, 25))
	keep := func(h int) bool { return h <= searchHarmonics || m.standsOut(h) }
	f.solve(c.Amplitudes, y, &c.phase, solveShare, keep)
	m.setGains()
}

// setNoise reads the noise under each harmonic.
func (m *mainsLines) setNoise(floor spectrumFloor) {
	m.noise = make([]float64, len(m.comb.Amplitudes))
	for h := range m.noise {
		m.noise[h] = floor.at(float64(h) * m.comb.FrequencyHz.Value)
	}
}

// setGains chooses the lines to be taken off: those that stand out.
func (m *mainsLines) setGains() {
	m.comb.gain = make([]float64, len(m.comb.Amplitudes))
	for h := 1; h < len(m.comb.gain); h++ {
		if m.standsOut(h) && !m.alone(h) {
			m.comb.gain[h] = 1
		}
	}
}

// std is the standard uncertainty of each quadrature of a harmonic's RMS:
// Kay (1993), example 3.14: √(S/2T) with S the density of the noise beneath.
func (m *mainsLines) std(h int) float64 { return math.Sqrt(m.noise[h] / (2 * m.lengthS)) }

// rms is a harmonic's RMS as fitted, noise included.
func (m *mainsLines) rms(h int) float64 { return math.Sqrt(abs2(m.comb.Amplitudes[h]) / 2) }

// standsOut asks more of the many lines past the 40th, so that noise shows
// one in 700 records.
func (m *mainsLines) standsOut(h int) bool {
	level := combLevel
	if h > searchHarmonics {
		level = 5
	}
	return h > 0 && m.rms(h) > level*m.std(h)
}

// rich says whether lines past the 40th were found.
func (m *mainsLines) rich() bool {
	for h := searchHarmonics + 1; h < len(m.comb.gain); h++ {
		if m.comb.gain[h] > 0 {
			return true
		}
	}
	return false
}

// harmonics returns the first 40.
func (m *mainsLines) harmonics() []MainsHarmonic {
	out := make([]MainsHarmonic, searchHarmonics)
	for i := range out {
		out[i] = m.harmonic(i + 1)
	}
	return out
}

func (m *mainsLines) harmonic(h int) MainsHarmonic {
	rms, std := m.rms(h), m.std(h)
	out := MainsHarmonic{Harmonic: h}
	if m.shared(h) {
		out.RMS.Value, out.UpperBound, out.Note = riceBound(rms+m.held[h], std), true, heldNote
		return out
	}
	if !m.standsOut(h) {
		out.RMS.Value, out.UpperBound = riceBound(rms, std), true
		return out
	}
	// The noise in both quadratures makes a modulus too large by
	// std²/2 of it, to first order (Rice).
	intruder := m.intruder(h)
	out.RMS = Estimate{math.Sqrt(rms*rms - std*std), Hypot(std, intruder)}
	if intruder > 0 {
		out.Note = besideNote
	}
	a := m.comb.Amplitudes[h]
	out.PhaseRad = math.Atan2(imag(a), real(a))
	return out
}

// hum is the RMS of the comb: the first 40 harmonics, each less the power
// that noise alone would show in it, seen or not, and those above that stand
// out. Without a selection among the 40 the sum is free of bias.
func (m *mainsLines) hum() Estimate {
	power, variance := 0.0, 0.0
	for h := 1; h < len(m.noise); h++ {
		if h > searchHarmonics && m.comb.gain[h] == 0 {
			continue
		}
		p := m.power(h)
		power += p.power
		variance += p.variance
	}
	return bandPower{power, variance}.rms()
}

// knownCycles is how far a line may be out of step at the ends of the record
// against its middle, at three standard uncertainties of the mains frequency,
// for most of its power to be seen still.
const knownCycles = 0.15

// knownTo is the highest harmonic whose frequency is known well enough to
// look for it as one line; 40 at least.
func (m *mainsLines) knownTo() int {
	reach := 3 * m.comb.FrequencyHz.Std * m.lengthS / 2
	return int(math.Max(searchHarmonics, math.Min(knownCycles/reach, float64(len(m.noise)))))
}

// placedTo is the highest harmonic of which excise looks where it is, within
// three standard uncertainties of the mains frequency; 0 where that is all.
func (m *mainsLines) placedTo(binHz float64) int {
	c := m.comb.FrequencyHz
	for h := searchHarmonics + 1; h < len(m.noise); h++ {
		if f := float64(h); 3*f*c.Std > exciseBins*binHz+exciseShare*f*c.Value {
			return h - 1
		}
	}
	return 0
}

// unseen is the power of the lines past the 40th up to one that do not stand
// out, less what noise alone would show in them. rest is the record without
// those that do.
func (m *mainsLines) unseen(rest []float64, top int) bandPower {
	var sum bandPower
	if top = min(top, len(m.noise)-1); top <= searchHarmonics {
		return sum
	}
	f := newFolder([]testsignals.Span{{Start: 0, End: len(rest)}}, 1, top, quickRing)
	for h, z := range f.sums(rest, &m.comb.phase, 0)[0] {
		if h <= searchHarmonics || m.standsOut(h) {
			continue
		}
		s2, p := sq(m.std(h)), 2*abs2(z)/sq(float64(len(rest)))
		sum = sum.plus(bandPower{p - 2*s2, 4*s2*math.Max(p-2*s2, 0) + 4*s2*s2})
	}
	return sum
}

// power is a harmonic's, less what noise alone would show in it.
func (m *mainsLines) power(h int) bandPower {
	s2 := m.std(h) * m.std(h)
	p := m.rms(h)*m.rms(h) - 2*s2
	if m.shared(h) && h <= searchHarmonics {
		// The comb's own line is like its neighbours.
		return bandPower{0, sq(sq(m.strongestBeside(h)))}
	}
	return bandPower{p, 4*math.Max(p, 0)*(s2+sq(m.intruder(h))) + 4*s2*s2}
}

// lines returns what was taken off.
func (m *mainsLines) lines() []line {
	var out []line
	for h := range m.noise {
		if m.comb.gain[h] > 0 {
			out = append(out, line{float64(h) * m.comb.FrequencyHz.Value, m.rms(h), m.std(h)})
		}
	}
	return out
}
