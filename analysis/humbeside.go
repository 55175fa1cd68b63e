package analysis

import "math"

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
