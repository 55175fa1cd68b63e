package analysis

import "math"

// A line past the 40th that is aloneRatio times any other within aloneReach of
// it is no harmonic of the mains, whose lines fall off slowly there, but some
// converter's whine that happens to lie on the comb: common practice, no
// source.
const (
	aloneRatio = 10.0
	aloneReach = 4
)

// alone says whether a line that stands out is no harmonic of the mains.
func (m *mainsLines) alone(h int) bool {
	switch {
	case !m.standsOut(h):
		return false
	case h <= searchHarmonics:
		return m.comb.strangers[h]
	}
	for d := 1; d <= aloneReach; d++ {
		if aloneRatio*m.rms(h-d) > m.rms(h) || h+d < len(m.noise) && aloneRatio*m.rms(h+d) > m.rms(h) {
			return false
		}
	}
	return true
}

// shared says whether what is at line h is for the most part not the mains's.
func (m *mainsLines) shared(h int) bool { return m.held[h] > 0 || m.alone(h) }

// strongestBeside is the RMS of the strongest line within loneAbove of line h
// that stands out, 0 where none does.
func (m *mainsLines) strongestBeside(h int) float64 {
	most := 0.0
	for o := max(1, h-loneAbove); o <= min(h+loneAbove, len(m.noise)-1); o++ {
		if o != h && m.standsOut(o) && !m.shared(o) {
			most = math.Max(most, m.rms(o))
		}
	}
	return most
}

const heldNote = "another line lies on it, or so near that it may be anything up to this"

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
	m.held = map[int]float64{}
	for _, t := range tones {
		h := int(math.Round(t.FrequencyHz.Value / m.comb.FrequencyHz.Value))
		if h < 1 || h > searchHarmonics {
			continue
		}
		away := math.Abs(t.FrequencyHz.Value-float64(h)*m.comb.FrequencyHz.Value) * m.lengthS
		switch left := leftShare * t.RMS.Value; {
		case away < sharedBins:
			m.held[h] = math.Hypot(m.held[h], t.RMS.Value)
		case away < besideBins && m.rms(h) < left:
			m.held[h] = math.Hypot(m.held[h], left)
		}
	}
}
