package hunt

import (
	"math"
	"slices"

	"boardproof/analysis"
)

// numbers of the harmonics that the weighing looks at: all where causes
// differ most, then fewer, odd ones, for they fall off slowly there.
var numbers = []int{
	1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 23, 25, 27, 29,
	30, 33, 36, 39, 45, 52, 61, 71, 80, 91, 101, 121, 150,
}

// line is the level of one harmonic: dB over 1 V RMS with its standard
// uncertainty, or a bound of it. absent where nothing is known.
type line struct {
	db, std       float64
	bound, absent bool
	phase         float64
	phased        bool
}

// spectrum is what one output has under one condition, all its takes together.
type spectrum struct {
	condition Condition
	takes     int
	// combHz is the frequency of the mains comb, 0 where none was found; mainsHz
	// is that of the mains, which another output may know; 0 where none does.
	combHz, mainsHz float64
	// lines go with numbers.
	lines []line
	tones []Tone
	hum   Level // RMS of all of the comb
	other Level
	hiss  Level
	// floorLines says that the bench's own lines were seen.
	floorLines bool
	moves      float64
	// toneBound is what a tone that was not found may be, RMS volts.
	toneBound float64
	lengthS   float64
}

// spectraOf puts the takes of each condition together, as found first. It
// returns nil where nothing was read as found.
func spectraOf(readings []Reading, output string) []spectrum {
	var conditions []Condition
	for _, r := range readings {
		if r.Output == output && r.Reason == "" && r.Levels != nil && !slices.Contains(conditions, r.Condition) {
			conditions = append(conditions, r.Condition)
		}
	}
	at := slices.Index(conditions, AsFound)
	if at < 0 {
		return nil
	}
	conditions = slices.Insert(slices.Delete(conditions, at, at+1), 0, AsFound)
	var out []spectrum
	for _, c := range conditions {
		s := spectrum{condition: c}
		for _, r := range readings {
			if r.Output == output && r.Reason == "" && r.Levels != nil && r.Condition == c {
				s.add(r)
			}
		}
		if s.mainsHz == 0 {
			s.mainsHz = mainsOf(readings, c)
		}
		s.regroup()
		if len(out) > 0 {
			s.as(&out[0])
		}
		out = append(out, s)
	}
	return out
}

// mainsOf is the frequency of the mains under a condition, at whatever output
// it was found; 0 where it was not.
func mainsOf(readings []Reading, c Condition) float64 {
	for _, r := range readings {
		if r.Condition == c && r.Reason == "" && r.MainsHz.Value > 0 {
			return r.MainsHz.Value
		}
	}
	return 0
}

func (s *spectrum) add(r Reading) {
	s.takes++
	s.moves = math.Max(s.moves, r.HumMovesDB)
	s.toneBound, s.lengthS = r.ToneBoundV, r.LengthS
	if s.mainsHz == 0 {
		s.mainsHz = r.MainsHz.Value
		s.combHz = r.MainsHz.Value
	}
	lines := linesOf(r)
	for _, h := range r.Harmonics {
		s.floorLines = s.floorLines || h.FloorLimited
	}
	for _, t := range r.Tones {
		s.floorLines = s.floorLines || t.FloorLimited
	}
	if s.takes == 1 {
		s.lines, s.tones, s.hum, s.other, s.hiss = lines, heard(r.Tones), humOf(r), r.Levels[OtherTones], r.Levels[Hiss]
		return
	}
	for i, l := range lines {
		s.lines[i] = s.lines[i].with(l, s.takes)
	}
	for _, t := range heard(r.Tones) {
		if k := indexTone(s.tones, t.FrequencyHz.Value); k < 0 {
			s.tones = append(s.tones, t)
		}
	}
}

// with is the mean of l, of n-1 takes, and one more.
func (l line) with(o line, n int) line {
	switch {
	case l.absent:
		return o
	case o.absent || l.bound && !o.bound:
		return l
	case o.bound && !l.bound:
		return o
	case l.bound:
		l.db = math.Min(l.db, o.db)
		return l
	}
	l.db += (o.db - l.db) / float64(n)
	l.std = math.Sqrt(((l.std*float64(n-1))*(l.std*float64(n-1)) + o.std*o.std)) / float64(n)
	return l
}

func linesOf(r Reading) []line {
	byNumber := map[int]Harmonic{}
	for _, h := range r.Harmonics {
		byNumber[h.N] = h
	}
	out := make([]line, len(numbers))
	for i, n := range numbers {
		h, ok := byNumber[n]
		switch {
		case ok && h.RMS.Value > 0:
			out[i] = line{
				db: analysis.DB(h.RMS.Value), std: analysis.DBFromRelative(h.RMS.Std / h.RMS.Value),
				bound: h.UpperBound, phase: h.PhaseRad, phased: h.PhaseKnown,
			}
		case n > 40 && r.MainsHz.Value > 0 && r.HighBoundV > 0:
			out[i] = line{db: analysis.DB(r.HighBoundV), bound: true}
		default:
			out[i].absent = true
		}
	}
	return out
}

// humOf is the comb as a whole.
func humOf(r Reading) Level {
	sum := Level{UpperBound: true}
	power, raw := 0.0, 0.0
	for _, g := range []string{Fundamental, Even, Odd, Buzz} {
		if l := r.Levels[g]; !l.UpperBound {
			power += l.RMS.Value * l.RMS.Value
			sum.UpperBound = false
		}
		raw += r.Levels[g].RawRMS * r.Levels[g].RawRMS
	}
	sum.RMS.Value, sum.RawRMS = math.Sqrt(power), math.Sqrt(raw)
	return sum
}

// heard leaves out tones that may be the bench's own.
func heard(tones []Tone) []Tone {
	var out []Tone
	for _, t := range tones {
		if !t.UpperBound {
			out = append(out, t)
		}
	}
	return out
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

// visible counts the lines of the comb that stand out of noise and bench.
func (s *spectrum) visible() int {
	n := 0
	for _, l := range s.lines {
		if !l.bound && !l.absent {
			n++
		}
	}
	return n
}

// loudestDB is the strongest line's level.
func (s *spectrum) loudestDB() float64 {
	most := math.Inf(-1)
	for _, l := range s.lines {
		if !l.bound && !l.absent {
			most = math.Max(most, l.db)
		}
	}
	return most
}

// comb is the hum that is seen, in volts.
func (s *spectrum) comb() float64 {
	if s.hum.UpperBound {
		return 0
	}
	return s.hum.RMS.Value
}

// strength is what is weighed there, in volts.
func (s *spectrum) strength() float64 {
	return math.Hypot(s.comb(), rmsOf(s.tones))
}
