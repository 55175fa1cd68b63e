package hunt

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
)

const (
	// loneDB over all of a comb's other lines one or a few must be for what they
	// are to be asked.
	loneDB = 15.0
	// mainsOffHz is how far from its nominal frequency a mains may be: within 1 Hz
	// for 99.5 % of a year, EN 50160, from memory.
	mainsOffHz = 1.0
)

// regroup puts lines where a person would who sees all spectra: a comb of which
// only every third line or fewer are there is no mains but tones; and lines at
// harmonics of the mains, as the other outputs know it or as its one line shows
// it, are mains.
func (s *spectrum) regroup() {
	if s.combHz > 0 {
		if s.step() >= 3 || s.visible() == 1 && offNominal(s.combHz) {
			s.toTones(func(float64) bool { return true })
		}
		return
	}
	if s.mainsHz > 0 {
		s.toLines()
		return
	}
	for _, t := range s.tones {
		if hz := t.FrequencyHz.Value; !offNominal(hz) && t.WidthHz == 0 {
			s.mainsHz = hz
			s.toLines()
			return
		}
	}
}

// offNominal says whether no mains is likely to have a frequency.
func offNominal(hz float64) bool {
	return math.Min(math.Abs(hz-50), math.Abs(hz-60)) > mainsOffHz
}

// toLines makes lines of the comb of the tones at harmonics of the mains, as
// far up as a clock's family does not reach.
func (s *spectrum) toLines() {
	s.combHz = s.mainsHz
	var left []Tone
	for _, t := range s.tones {
		n := int(math.Round(t.FrequencyHz.Value / s.mainsHz))
		i := slices.Index(numbers, n)
		if i < 0 || float64(n)*s.mainsHz > buzzFromHz-mainsOffHz || t.WidthHz > 0 || !s.lines[i].bound && !s.lines[i].absent ||
			math.Abs(t.FrequencyHz.Value-float64(n)*s.mainsHz) > 1/s.lengthS {
			left = append(left, t)
			continue
		}
		s.lines[i] = line{db: analysis.DB(t.RMS.Value), std: analysis.DBFromRelative(t.RMS.Std / t.RMS.Value)}
		if s.hum.UpperBound {
			s.hum = Level{}
		}
		s.hum.RMS.Value, s.hum.RawRMS = math.Hypot(s.hum.RMS.Value, t.RMS.Value), math.Hypot(s.hum.RawRMS, t.RawRMS)
	}
	s.tones = left
}

// step is the greatest number of which the numbers of all lines that matter are
// multiples: those within loneDB of the strongest. 0 where a line or a bound
// that is not such a multiple is within loneDB too.
func (s *spectrum) step() int {
	top, step := s.loudestDB(), 0
	for i, l := range s.lines {
		if !l.absent && !l.bound && l.db > top-loneDB {
			step = divisor(step, numbers[i])
		}
	}
	if step < 3 {
		return 0
	}
	for i, l := range s.lines {
		if !l.absent && numbers[i]%step != 0 && l.db > top-loneDB {
			return 0
		}
	}
	return step
}

// divisor is the greatest common one.
func divisor(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// as takes for tones what is at the frequency of one as found.
func (s *spectrum) as(base *spectrum) {
	s.toTones(func(hz float64) bool { return indexTone(base.tones, hz) >= 0 && indexTone(s.tones, hz) < 0 })
}

// toTones makes tones of the lines of the comb at some frequencies.
func (s *spectrum) toTones(at func(hz float64) bool) {
	s.tones = slices.Clone(s.tones)
	for i := range s.lines {
		l, hz := &s.lines[i], s.combHz*float64(numbers[i])
		if l.absent || l.bound || !at(hz) {
			continue
		}
		v := math.Pow(10, l.db/20)
		rms := analysis.Estimate{Value: v, Std: v * l.std / analysis.DBFromRelative(1)}
		s.tones = append(s.tones, Tone{FrequencyHz: analysis.Estimate{Value: hz}, Level: Level{RMS: rms, RawRMS: v}})
		*l = line{absent: true}
	}
	s.hum.UpperBound = s.hum.UpperBound || s.visible() == 0
	slices.SortStableFunc(s.tones, func(a, b Tone) int { return cmp.Compare(b.RMS.Value, a.RMS.Value) })
}
