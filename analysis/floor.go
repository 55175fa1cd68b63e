package analysis

import "math"

// Distances from the bench's floor, in dB of the figure read over the
// bench's own. Nearer than floorLimitDB the bench sets the figure and it is
// only an upper bound; nearer than floorNearDB the correction is worth a note.
const (
	floorLimitDB = 3.0
	floorNearDB  = 10.0
)

// FloorOf turns a silence recorded with the input terminated into the floor
// of that input.
func FloorOf(s *Silence) Floor {
	f := Floor{Noise: s.Noise, Hiss: s.Hiss}
	if s.Mains != nil && s.Mains.Found {
		f.MainsHz = s.Mains.FrequencyHz.Value
	}
	f.Hum = atMost(s.Hum, s.HumUpperBound)
	for _, h := range s.Harmonics {
		f.Harmonics = append(f.Harmonics, atMost(h.RMS, h.UpperBound))
	}
	for _, t := range s.Tones {
		f.Tones = append(f.Tones, FloorTone{t.FrequencyHz.Value, t.RMS})
	}
	return f
}

// atMost is e, or, where it is only a bound, nothing within that bound.
func atMost(e Estimate, bound bool) Estimate {
	if bound {
		return Estimate{0, e.Value / CoverageK}
	}
	return e
}

// corrected is a level with the bench's share taken off, in volts RMS.
// Std is that of what was read, benchStd that of what was taken off.
type corrected struct {
	Estimate
	benchStd float64
	// line: benchStd is mostly that of a phase which is not known, the
	// deviation its sine, which is no wider than a rectangular one.
	line                     bool
	upperBound, floorLimited bool
	note                     string
}

// takeOffFloor takes the bench's power off what was read. crossVar is the
// variance of the power that comes from lines which both have and whose
// phases are not known: 2·a²·b² each.
func takeOffFloor(read, bench Estimate, crossVar float64) corrected {
	if bench.Value <= 0 && bench.Std <= 0 {
		return corrected{Estimate: read}
	}
	if read.Value <= bench.Value*math.Pow(10, floorLimitDB/20) {
		return corrected{
			Estimate:   Estimate{Value: oneSidedBound(read)},
			upperBound: true, floorLimited: true,
			note: "the bench's own floor sets this figure",
		}
	}
	value := math.Sqrt(read.Value*read.Value - bench.Value*bench.Value)
	taken := sq(bench.Value*bench.Std) + sq(sq(bench.Std))/2 + crossVar/4
	c := corrected{Estimate: Estimate{value, read.Value * read.Std / value}, benchStd: math.Sqrt(taken) / value}
	if read.Value < bench.Value*math.Pow(10, floorNearDB/20) {
		c.note = "corrected for the bench's own floor"
	}
	return c
}

// unsureShare is how uncertain a level may be, relative to it, for what the
// bench has at the same frequency: at a quarter its power is two standard
// uncertainties, and less than that is a bound.
const unsureShare = 0.25

// takeOffLine is takeOffFloor for one line, whose phase against the bench's
// is not known: it may have hidden as much of the board's as the bench has.
func takeOffLine(read, bench Estimate) corrected {
	return takeOffLines(read, bench, lineCross(read, bench))
}

// lineCross is the variance of the power of a line for the phase that it has
// against the bench's own.
func lineCross(read, bench Estimate) float64 {
	return 2 * math.Max(0, sq(read.Value)-sq(bench.Value)) * (sq(bench.Value) + sq(bench.Std))
}

// takeOffLines is takeOffLine for the sum of several, crossVar that of all.
func takeOffLines(read, bench Estimate, crossVar float64) corrected {
	c := takeOffFloor(read, bench, crossVar)
	if !c.upperBound && c.benchStd > unsureShare*c.Value {
		c = corrected{
			Estimate: Estimate{Value: oneSidedBound(read)}, upperBound: true, floorLimited: true,
			note: "cannot be told from what the bench itself has there",
		}
	}
	if c.floorLimited {
		c.Value += oneSidedBound(bench)
	}
	c.line = true
	return c
}

// takeOffHum takes the bench's hum off that of s, line by line as to their
// phases.
func (f *Floor) takeOffHum(s *Silence) corrected {
	cross := 0.0
	for _, h := range s.Harmonics {
		if !h.UpperBound {
			cross += lineCross(h.RMS, f.line(h.Harmonic, s.Mains.FrequencyHz.Value))
		}
	}
	c := takeOffLines(s.Hum, f.Hum, cross)
	if !c.upperBound && Hypot(c.Std, c.benchStd) > unsureShare*c.Value {
		// What is left cannot be told from nothing.
		c.Value += 1.645 * Hypot(c.Std, c.benchStd)
		c.Std, c.benchStd, c.upperBound, c.note = 0, 0, true, "not above what the bench itself and the noise leave uncertain"
	}
	return c
}

// oneSidedBound is the 95 % bound of a normal estimate.
func oneSidedBound(e Estimate) float64 { return e.Value + 1.645*e.Std }

// harmonic returns the bench's own level at a harmonic, nothing where the
// bench has no mains.
func (f *Floor) harmonic(h int) Estimate {
	if f == nil || h < 1 || h > len(f.Harmonics) {
		return Estimate{}
	}
	return f.Harmonics[h-1]
}

// sameLine is how far apart in frequency, relative, a line then and one now may be
// to be one: what mains strays by in most hours, common practice, no source.
const sameLine = 0.004

// line returns the bench's own level at a harmonic of a mains of mainsHz. A bench
// with one strong line does not show of which mains it is: the fifth of 60 Hz is
// the sixth of 50 Hz. Then it is found by its frequency, and what the bench
// has at others is not above what its hiss hides.
func (f *Floor) line(h int, mainsHz float64) Estimate {
	e := f.harmonic(h)
	if f == nil || f.MainsHz <= 0 || mainsHz <= 0 || math.Abs(math.Log(mainsHz/f.MainsHz)) < 0.05 {
		return e
	}
	hz := float64(h) * mainsHz
	if n := math.Round(hz / f.MainsHz); math.Abs(n*f.MainsHz/hz-1) < sameLine {
		return f.harmonic(int(n))
	}
	return Estimate{Std: e.Std}
}

// tone returns the bench's own tone nearest to a frequency, if it is within
// what two clocks may differ by (100 ppm, and half a hertz).
func (f *Floor) tone(hz float64) Estimate {
	if f == nil {
		return Estimate{}
	}
	best, level := 0.5+1e-4*hz, Estimate{}
	for _, t := range f.Tones {
		if d := math.Abs(t.FrequencyHz - hz); d <= best {
			best, level = d, t.Level
		}
	}
	return level
}

// crossVariance is that of a weighted power: the mains lines and tones that
// board and bench both have, at phases that are not known.
func (f *Floor) crossVariance(s *Silence, weighting string) float64 {
	v := 0.0
	add := func(hz float64, read, bench Estimate) {
		g := WeightingGain(weighting, hz)
		v += lineCross(read, bench) * sq(g*g)
	}
	for _, h := range s.Harmonics {
		if mains := s.Mains.FrequencyHz.Value; !h.UpperBound {
			add(float64(h.Harmonic)*mains, h.RMS, f.line(h.Harmonic, mains))
		}
	}
	for _, t := range s.Tones {
		add(t.FrequencyHz.Value, t.RMS, f.tone(t.FrequencyHz.Value))
	}
	return v
}
