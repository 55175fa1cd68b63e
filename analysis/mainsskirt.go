package analysis

import "math"

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
