package hunt

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
)

// class is harmonics of the mains that are read together.
type class int

const (
	fundamental class = iota
	lowOdd            // 3rd to 9th
	highOdd           // 11th to 1 kHz
	even              // to 1 kHz
	buzzOdd
	buzzEven
	classes
)

func classOf(n, buzz int) class {
	switch {
	case n == 1:
		return fundamental
	case n > buzz:
		return buzzOdd + class(1-n%2)
	case n%2 == 0:
		return even
	case n < 10:
		return lowOdd
	}
	return highOdd
}

// level is dB over 1 V RMS with its standard uncertainty, or a bound of it;
// known where anything is.
type level struct {
	db, std      float64
	bound, known bool
}

func levelFrom(l Level) level {
	if !(l.RMS.Value > 0) {
		return level{}
	}
	return level{analysis.DB(l.RMS.Value), analysis.DBFromRelative(l.RMS.Std / l.RMS.Value), l.UpperBound, true}
}

func (l level) seen() bool { return l.known && !l.bound }

// power in V².
func (l level) power() float64 {
	if !l.seen() {
		return 0
	}
	return powerOf(l.db)
}

func powerOf(db float64) float64 { return math.Pow(10, db/10) }

// spectrum is what one output has under one condition, all its takes together.
type spectrum struct {
	condition Condition
	mainsHz   float64
	lines     map[int]level
	comb      [classes]level
	tones     []Tone
	toneBound float64
	hissDB    float64
	movesDB   float64
	// floorLines: the bench's own lines were seen.
	floorLines bool
}

// spectraOf puts the takes of each condition together, as found first; nil
// where nothing was read as found.
func spectraOf(readings []Reading, output string) []spectrum {
	conditions := []Condition{AsFound}
	for _, r := range readings {
		if !slices.Contains(conditions, r.Condition) {
			conditions = append(conditions, r.Condition)
		}
	}
	var out []spectrum
	for _, c := range conditions {
		s := spectrum{condition: c, lines: map[int]level{}}
		takes := 0
		for _, r := range readings {
			if r.Condition != c || r.Reason != "" || r.Levels == nil {
				continue
			}
			if s.mainsHz == 0 || r.Output == output && r.MainsHz.Value > 0 {
				s.mainsHz = r.MainsHz.Value
			}
			if r.Output == output {
				takes++
				s.add(r, takes)
			}
		}
		switch {
		case takes > 0:
			if len(out) > 0 {
				s.regroup(out[0].tones)
			} else {
				s.regroup(nil)
			}
			out = append(out, s)
		case c == AsFound:
			return nil
		}
	}
	return out
}

// add takes one more take in: levels of several are averaged in dB.
func (s *spectrum) add(r Reading, takes int) {
	s.movesDB = math.Max(s.movesDB, r.HumMovesDB)
	s.toneBound = r.ToneBoundV
	s.hissDB = analysis.DB(math.Max(r.Levels[Hiss].RMS.Value, 1e-12))
	for _, h := range r.Harmonics {
		s.floorLines = s.floorLines || h.FloorLimited
		now, before := levelFrom(h.Level), s.lines[h.N]
		if before.seen() && now.seen() {
			now.db = before.db + (now.db-before.db)/float64(takes)
		} else if before.seen() {
			now = before
		}
		s.lines[h.N] = now
	}
	if v := r.HighBoundV; v > 0 && r.MainsHz.Value > 0 {
		for n := 41; n <= 42; n++ {
			if !s.lines[n].known {
				s.lines[n] = level{db: analysis.DB(v), bound: true, known: true}
			}
		}
	}
	for _, t := range r.Tones {
		s.floorLines = s.floorLines || t.FloorLimited
		if !t.UpperBound && t.RMS.Value > 0 && indexTone(s.tones, t.FrequencyHz.Value) < 0 {
			s.tones = append(s.tones, t)
		}
	}
}

// indexTone is the tone nearest to hz, as near as one may wander from take to
// take; -1 for none.
func indexTone(tones []Tone, hz float64) int {
	best, at := math.Max(smearHz, 5*smearShare*hz), -1
	for i, t := range tones {
		if d := math.Abs(t.FrequencyHz.Value - hz); d < best {
			best, at = d, i
		}
	}
	return at
}

// mainsOffHz is how far from its nominal frequency a mains may be: within 1 Hz
// for 99.5 % of a year, EN 50160, from memory.
const mainsOffHz = 1.0

func nominal(hz float64) bool { return math.Min(math.Abs(hz-50), math.Abs(hz-60)) <= mainsOffHz }

// regroup puts lines where one would who knows all spectra: what is found at
// another frequency than a mains has is no comb; a tone at the frequency of
// the mains, or at a multiple of it that another output knows, is mains; what
// was a tone as found stays one.
func (s *spectrum) regroup(found []Tone) {
	asTone := func(n int) {
		if l := s.lines[n]; l.seen() {
			v := math.Sqrt(powerOf(l.db))
			t := Tone{Level: Level{RMS: analysis.Estimate{Value: v, Std: v * l.std / analysis.DBFromRelative(1)}}}
			t.FrequencyHz.Value = float64(n) * s.mainsHz
			s.tones = append(s.tones, t)
			delete(s.lines, n)
		}
	}
	for _, t := range s.tones {
		if s.mainsHz == 0 && nominal(t.FrequencyHz.Value) && t.WidthHz == 0 {
			s.mainsHz = t.FrequencyHz.Value
		}
	}
	lone := found == nil && s.step() >= 3
	for _, n := range sortedKeys(s.lines) {
		hz := float64(n) * s.mainsHz
		if s.mainsHz > 0 && (!nominal(s.mainsHz) || lone || indexTone(found, hz) >= 0 && indexTone(s.tones, hz) < 0) {
			asTone(n)
		}
	}
	if nominal(s.mainsHz) && !lone {
		s.tones = slices.DeleteFunc(s.tones, s.takesIn)
	}
	slices.SortStableFunc(s.tones, func(a, b Tone) int {
		return cmp.Or(cmp.Compare(b.RMS.Value, a.RMS.Value), cmp.Compare(a.FrequencyHz.Value, b.FrequencyHz.Value))
	})
	buzz := int(buzzFromHz / cmp.Or(s.mainsHz, 50))
	for _, n := range sortedKeys(s.lines) {
		l, all := s.lines[n], &s.comb[classOf(n, buzz)]
		switch {
		case !l.known:
		case all.seen() && l.seen():
			p, q := all.power(), l.power()
			all.std = math.Hypot(all.std*p, l.std*q) / (p + q)
			all.db = 10 * math.Log10(p+q)
		case !all.known, l.seen(), !all.seen() && l.db > all.db:
			*all = l
		}
	}
}

// step is the greatest number of which the numbers of all lines are multiples
// that are within loneDB of the strongest.
func (s *spectrum) step() int {
	top, step := math.Inf(-1), 0
	for _, l := range s.lines {
		if l.seen() {
			top = math.Max(top, l.db)
		}
	}
	for n, l := range s.lines {
		if l.seen() && l.db > top-loneDB {
			for step != 0 {
				n, step = step, n%step
			}
			step = n
		}
	}
	return step
}

// takesIn says whether a tone is a harmonic of the mains, and adds it to them.
// A clock's family has multiples of 1 kHz, which some of the mains nearly are.
func (s *spectrum) takesIn(t Tone) bool {
	hz := t.FrequencyHz.Value
	n := int(math.Round(hz / s.mainsHz))
	off := math.Abs(hz - float64(n)*s.mainsHz)
	if n < 1 || t.WidthHz > 0 || s.lines[n].seen() || onGrid(t) && n > 1 || off > 0.1+0.001*float64(n)+2*t.FrequencyHz.Std {
		return false
	}
	s.lines[n] = levelFrom(t.Level)
	return true
}

// combDB is the hum that is seen, in dB over 1 V RMS; -Inf for none.
func (s *spectrum) combDB() float64 {
	sum := 0.0
	for _, l := range s.comb {
		sum += l.power()
	}
	return 10 * math.Log10(sum)
}

// tonesDB is that of the other tones.
func (s *spectrum) tonesDB() float64 {
	sum := 0.0
	for _, t := range s.tones {
		sum += t.RMS.Value * t.RMS.Value
	}
	return 10 * math.Log10(sum)
}

func (s *spectrum) strength() float64 { return powerOf(s.combDB()) + powerOf(s.tonesDB()) }
