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

// towers says of a peak near line h, past the 40th, what alone says of one on
// it.
func (m *mainsLines) towers(p tonePeak, h int) bool {
	if h <= searchHarmonics {
		return false
	}
	// A Hann window makes a line 2T/3 of its power in density.
	rms := math.Sqrt(p.power * p.noise * 1.5 / m.lengthS)
	for o := max(1, h-aloneReach); o <= min(h+aloneReach, len(m.noise)-1); o++ {
		if aloneRatio*m.rms(o) > rms {
			return false
		}
	}
	return true
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

const besideNote = "another line lies too near to tell the two apart, or it is not steady"

// addBeside notes a peak of the residual that explains took for the comb's.
func (m *mainsLines) addBeside(p tonePeak) {
	if m.beside == nil {
		m.beside = map[int]float64{}
	}
	h := int(math.Round(p.hz / m.comb.FrequencyHz.Value))
	// A Hann window makes a line 2T/3 of its power in density.
	m.beside[h] += p.power * p.noise * 1.5 / m.lengthS
}

// intruder is the RMS of what may belong to another line in harmonic h. What a
// wandering mains leaves beside its lines is little, and a share of each that
// grows as the square of its number. A larger share is something else's; and
// where the shares do not grow so, another line has led the phase of all of
// them astray, each by as much more as its number says.
func (m *mainsLines) intruder(h int) float64 {
	if m.beside[h] > besideShare*sq(m.rms(h)) {
		return math.Sqrt(m.beside[h])
	}
	least, most := math.Inf(1), 0.0
	for o := 1; o < len(m.noise); o++ {
		if m.comb.gain[o] == 0 {
			continue
		}
		hidden := besidePower * m.noise[o] * 1.5 / m.lengthS
		least = math.Min(least, math.Max(m.beside[o], hidden)/sq(m.rms(o)*float64(o)))
		most = math.Max(most, m.beside[o]/sq(m.rms(o)*float64(o)))
	}
	if most > 4*least {
		return m.rms(h) * float64(h) * math.Sqrt(most)
	}
	return 0
}

const (
	// besideShare of a line's power is more than its wander leaves beside it:
	// 26 dB under it.
	besideShare = 1.0 / 400
	// besidePower over noise is about where a peak begins to be seen.
	besidePower = 20
)

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

// explains reports whether a peak is the comb's: on a line of it as near as
// can be told, or close to a much stronger one, as what a mains that does
// not drift smoothly leaves behind.
func (m *mainsLines) explains(p tonePeak, lengthS float64) bool {
	if !m.found() {
		return false
	}
	c := m.comb
	n := math.Round(p.hz / c.FrequencyHz.Value)
	if n < 1 || int(n) < len(m.noise) && m.alone(int(n)) {
		return false
	}
	away := math.Abs(p.hz - n*c.FrequencyHz.Value)
	if away < 2/lengthS {
		return true
	}
	if away < 2/lengthS+3*n*c.FrequencyHz.Std {
		return !m.towers(p, int(n))
	}
	reach := 1 + n*math.Max(0.005, math.Abs(c.DriftHzPerS.Value)*lengthS/2)
	h := int(n)
	// A Hann window makes a line 2T/3 of its power in density.
	return away < reach && h < len(c.Amplitudes) &&
		p.power*p.noise < besideShare*m.rms(h)*m.rms(h)*lengthS/1.5
}

// riceBound is the level that a line is under with 95 % confidence when its
// fitted modulus is r and each quadrature has standard uncertainty std: with
// nothing known before, line²/std² is non-central chi-squared of two degrees
// of freedom and non-centrality r²/std².
func riceBound(r, std float64) float64 {
	if std == 0 {
		return r
	}
	lambda := r * r / (std * std)
	lo, hi := 0.0, r/std+6
	for hi-lo > 1e-6 {
		mid := (lo + hi) / 2
		if nonCentralChi2(mid*mid, lambda) < 0.95 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi * std
}

// nonCentralChi2 is the distribution function for two degrees of freedom, a
// Poisson mixture of central ones of 2+2j:
// Σ e^(−λ/2)(λ/2)^j/j! · (1 − e^(−x/2)·Σ_{i≤j}(x/2)^i/i!).
// It is for the small lambda of lines in the noise.
func nonCentralChi2(x, lambda float64) float64 {
	weight, term := math.Exp(-lambda/2), math.Exp(-x/2)
	tail, sum, left := term, 0.0, 1.0
	for j := 1; left > 1e-9 && j < 1000; j++ {
		sum += weight * (1 - tail)
		left -= weight
		weight *= lambda / 2 / float64(j)
		term *= x / 2 / float64(j)
		tail += term
	}
	return sum
}

// boundHarmonics bounds each harmonic where no comb was found: by the largest
// line that could hide within ±1 % of it (EN 50160's band), whatever the
// frequency is. psd is the record's periodogram.
func boundHarmonics(psd []float64, binHz, lengthS float64, floor spectrumFloor, nominalHz float64) []MainsHarmonic {
	const hannBins, scallop = 1.5, 1.39 // noise bandwidth; worst loss in power (Harris 1978)
	out := make([]MainsHarmonic, searchHarmonics)
	for i := range out {
		hz := nominalHz * float64(i+1)
		peak := 0.0
		for k := int(0.99 * hz / binHz); k <= int(1.01*hz/binHz)+1 && k < len(psd); k++ {
			peak = math.Max(peak, psd[k])
		}
		width := hannBins / lengthS
		std := math.Sqrt(floor.at(hz) * width / 2)
		out[i] = MainsHarmonic{Harmonic: i + 1, UpperBound: true}
		out[i].RMS.Value = riceBound(math.Sqrt(peak*width*scallop), std)
	}
	return out
}
