package analysis

import (
	"math"
	"math/cmplx"
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
	if l.flickers && l.skirt.power > besideShare*steady {
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
	case !m.standsOut(h) && !l.flickers:
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
	case m.takenOff(h) || l.flickers:
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
