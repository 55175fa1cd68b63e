package hunt

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
)

// sound is one of the two kinds of what a silence holds beside hiss, each with
// causes of its own.
type sound int

const (
	comb sound = iota // the lines of the mains
	tone              // other lines
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

func boundOf(v float64) level { return level{db: analysis.DB(v), bound: true, known: true} }

func (l level) seen() bool { return l.known && !l.bound }

func powerOf(db float64) float64 { return math.Pow(10, db/10) }

func dbOf(power float64) float64 { return 10 * math.Log10(power) }

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
	var out []spectrum
	conditions := []Condition{AsFound}
	for _, r := range readings {
		if !slices.Contains(conditions, r.Condition) {
			conditions = append(conditions, r.Condition)
		}
	}
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
		case takes > 0 && len(out) == 0:
			s.sort(nil)
		case takes > 0:
			s.sort(out[0].tones)
		case c == AsFound:
			return nil
		default:
			continue
		}
		out = append(out, s)
	}
	return out
}

// add takes one more take in: levels of several are averaged in dB.
func (s *spectrum) add(r Reading, takes int) {
	s.movesDB = math.Max(s.movesDB, r.HumMovesDB)
	s.toneBound = math.Max(r.ToneBoundV, 1e-12)
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
	if r.HighBoundV > 0 && r.MainsHz.Value > 0 {
		for n := 41; n <= 42; n++ { // one odd, one even
			if !s.lines[n].known {
				s.lines[n] = boundOf(r.HighBoundV)
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

// sort puts lines where one would who knows all spectra: what is found at
// another frequency than a mains has, or only at every third number or fewer, is
// no comb; a tone at a multiple of the mains that another output knows is mains;
// what was a tone as found stays one.
func (s *spectrum) sort(found []Tone) {
	for _, t := range s.tones {
		if s.mainsHz == 0 && nominal(t.FrequencyHz.Value) && t.WidthHz == 0 {
			s.mainsHz = t.FrequencyHz.Value
		}
	}
	mains := nominal(s.mainsHz) && (found != nil || s.step() < 3)
	for _, n := range sortedKeys(s.lines) {
		l, hz := s.lines[n], float64(n)*s.mainsHz
		if l.seen() && s.mainsHz > 0 && (!mains || indexTone(found, hz) >= 0 && indexTone(s.tones, hz) < 0) {
			v := math.Sqrt(powerOf(l.db))
			t := Tone{Level: Level{RMS: analysis.Estimate{Value: v, Std: v * l.std / analysis.DBFromRelative(1)}}}
			t.FrequencyHz.Value = hz
			s.tones = append(s.tones, t)
			delete(s.lines, n)
		}
	}
	if mains {
		s.tones = slices.DeleteFunc(slices.Clone(s.tones), s.takesIn)
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
			p, q := powerOf(all.db), powerOf(l.db)
			*all = level{dbOf(p + q), math.Hypot(all.std*p, l.std*q) / (p + q), false, true}
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

// takesIn says whether a tone is a harmonic of the mains that was not found, and
// adds it to them, or the skirt of one that was. A clock's family has multiples of
// 1 kHz, which some of the mains nearly are.
func (s *spectrum) takesIn(t Tone) bool {
	now := levelFrom(t.Level)
	n, offHz, weaker := s.beside(t)
	off, line := math.Abs(offHz), s.lines[n]
	switch {
	case n < 1 || onGrid(t) && n > 1:
		return false
	case weaker && s.alike(offHz) >= skirtTones:
		return true
	case line.seen():
		return now.db < line.db && off < wandersHz*float64(n)
	case t.WidthHz > 0 || off > 0.1+knownHz*float64(n)+2*t.FrequencyHz.Std:
		return false
	}
	s.lines[n] = now
	return true
}

// beside is the number of the mains' line that is nearest to a tone, how far off
// it is, and whether that or a neighbour is seen to be stronger.
func (s *spectrum) beside(t Tone) (n int, offHz float64, weaker bool) {
	n = int(math.Round(t.FrequencyHz.Value / s.mainsHz))
	for k := n - 1; k <= n+1; k++ {
		weaker = weaker || s.lines[k].seen() && s.lines[k].db > levelFrom(t.Level).db
	}
	return n, t.FrequencyHz.Value - float64(n)*s.mainsHz, weaker
}

// alike counts the tones that are as far from the mains' lines and weaker: no
// tones but a comb's own skirts are so regular.
func (s *spectrum) alike(offHz float64) int {
	count := 0
	for _, t := range s.tones {
		if _, off, weaker := s.beside(t); weaker && math.Abs(off-offHz) < skirtHz {
			count++
		}
	}
	return count
}

// power is that of a sound, in V².
func (s *spectrum) power(of sound) float64 {
	sum := 0.0
	if of == comb {
		for _, l := range s.comb {
			if l.seen() {
				sum += powerOf(l.db)
			}
		}
		return sum
	}
	for _, t := range s.tones {
		sum += t.RMS.Value * t.RMS.Value
	}
	return sum
}

func (s *spectrum) strength() float64 { return s.power(comb) + s.power(tone) }
