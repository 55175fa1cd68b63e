package analysis

import (
	"fmt"
	"math"
)

// GroupLevel is the level of some lines of a silence together, or of its hiss,
// in volts (full scales where the input's is not known). What is uncertain in
// the full scale is not in it.
type GroupLevel struct {
	// RMS has the bench's own power taken off.
	RMS Estimate
	// UpperBound: no more than RMS.Value, at 95 % confidence. FloorLimited:
	// within 3 dB of the bench's own, or not to be told from it.
	UpperBound, FloorLimited bool
	// RawRMS is as recorded, BenchRMS what the bench has by itself.
	RawRMS, BenchRMS float64
}

// Silences is what SilenceOf reads from, one per output; reasons says why an
// output could not be read, "" where it could. nominalMainsHz is 50, 60, or 0
// for unknown. Levels are in volts where the input's full scale is known.
func Silences(rec *Recording, nominalMainsHz float64) (silences []*Silence, reasons []string, err error) {
	silences, reasons = make([]*Silence, len(rec.Outputs)), make([]string, len(rec.Outputs))
	for i, name := range rec.Outputs {
		silences[i], reasons[i], err = readSilence(rec, i, nominalMainsHz)
		if err != nil {
			return nil, nil, fmt.Errorf("output %s: %w", name, err)
		}
		if s := silences[i]; s != nil {
			reasons[i] = s.Reason
		}
	}
	return silences, reasons, nil
}

// benchLine is the bench's own level at harmonic h of the mains that was found.
func (s *Silence) benchLine(bench BenchInput, h int) Estimate {
	mainsHz := 0.0
	if s.Mains.Found {
		mainsHz = s.Mains.FrequencyHz.Value
	}
	return bench.Floor.line(h, mainsHz)
}

// HumGroup is the level of the mains lines that in holds of, h from 1. Lines
// past the 40th count where they stand out of the noise. Where no comb was
// found it is a bound over all nominal frequencies that were looked at.
func (s *Silence) HumGroup(bench BenchInput, in func(h int) bool) GroupLevel {
	var sum bandPower
	cross, floor, shown := 0.0, bandPower{}, false
	for h := 1; h < len(s.linePowers); h++ {
		p := s.linePowers[h]
		if !in(h) || p.variance == 0 {
			continue
		}
		sum.power += p.power
		sum.variance += p.variance
		own := s.benchLine(bench, h)
		floor.power += sq(own.Value)
		floor.variance += sq(2*own.Value*own.Std) + sq(sq(own.Std))
		cross += lineCross(p.rms(), own)
		shown = shown || p.power > combLevel*combLevel*s.lineVariance[h]
	}
	read := sum.rms()
	if !s.Mains.Found || !shown {
		return s.unseen(sum, in, floor)
	}
	return groupOf(read, floor, cross)
}

// unseen is a group of which no line stands out.
func (s *Silence) unseen(sum bandPower, in func(h int) bool, floor bandPower) GroupLevel {
	if s.Mains.Found {
		bound := math.Sqrt(math.Max(sum.power, 0) + 1.645*math.Sqrt(sum.variance))
		return GroupLevel{RMS: Estimate{Value: bound}, UpperBound: true, RawRMS: bound, BenchRMS: math.Sqrt(floor.power)}
	}
	power := 0.0
	for h, b := range s.lineBounds {
		if in(h) {
			power += sq(b)
		}
	}
	return GroupLevel{RMS: Estimate{Value: math.Sqrt(power)}, UpperBound: true, RawRMS: math.Sqrt(power), BenchRMS: math.Sqrt(floor.power)}
}

func groupOf(read Estimate, floor bandPower, cross float64) GroupLevel {
	g := GroupLevel{RMS: read, RawRMS: read.Value, BenchRMS: math.Sqrt(floor.power)}
	if floor.power == 0 && floor.variance == 0 {
		return g
	}
	c := takeOffLines(read, floor.rms(), cross)
	g.RMS, g.UpperBound, g.FloorLimited = Estimate{c.Value, Hypot(c.Std, c.benchStd)}, c.upperBound, c.floorLimited
	return g
}

// HarmonicLevel is the level of one mains line; h is x.Harmonic.
func (s *Silence) HarmonicLevel(x MainsHarmonic, bench BenchInput) GroupLevel {
	own := s.benchLine(bench, x.Harmonic)
	if x.UpperBound {
		return GroupLevel{RMS: x.RMS, UpperBound: true, RawRMS: x.RMS.Value, BenchRMS: own.Value}
	}
	return groupOf(x.RMS, bandPower{sq(own.Value), sq(2*own.Value*own.Std) + sq(sq(own.Std))}, lineCross(x.RMS, own))
}

// ToneLevel is the level of one line off the comb.
func (s *Silence) ToneLevel(t Tone, bench BenchInput) GroupLevel {
	own := bench.Floor.tone(t.FrequencyHz.Value)
	return groupOf(t.RMS, bandPower{sq(own.Value), sq(2 * own.Value * own.Std)}, lineCross(t.RMS, own))
}

// HissLevel is the hiss, unweighted.
func (s *Silence) HissLevel(bench BenchInput) GroupLevel {
	read := s.Hiss[Unweighted]
	g := GroupLevel{RMS: read, RawRMS: read.Value}
	if bench.Floor == nil {
		return g
	}
	c := takeOffFloor(read, bench.Floor.Hiss[Unweighted], 0)
	g.RMS, g.UpperBound, g.FloorLimited = Estimate{c.Value, Hypot(c.Std, c.benchStd)}, c.upperBound, c.floorLimited
	g.BenchRMS = bench.Floor.Hiss[Unweighted].Value
	return g
}

// HumMoves is by how many dB nine tenths of the pieces of the record leave the
// level of the hum, and a note that says so; 0 and "" where it stands still.
func (s *Silence) HumMoves() (halfDB float64, note string) {
	return s.steadiness.hum.halfDB, s.steadiness.hum.note
}

// MainsRestless says whether the mains frequency did more than drift steadily.
func (s *Silence) MainsRestless() bool { return s.Mains != nil && s.Mains.wanders }

// readLines reads harmonics and hum from the comb, and keeps the power of each
// line for HumGroup.
func (s *Silence) readLines(mains *mainsLines) {
	s.linePowers, s.lineVariance = make([]bandPower, len(mains.lines)), make([]float64, len(mains.lines))
	for h := 1; h < len(mains.lines); h++ {
		s.lineVariance[h] = sq(mains.std(h))
		switch {
		case h <= searchHarmonics:
			s.linePowers[h] = mains.power(h)
			s.Harmonics = append(s.Harmonics, mains.harmonic(h))
		case mains.takenOff(h):
			s.linePowers[h] = mains.power(h)
			s.HighHarmonics = append(s.HighHarmonics, mains.harmonic(h))
		}
	}
	s.Hum, s.HumUpperBound = mains.hum()
	if mains.placedTo < len(mains.lines)-1 {
		s.humTo = mains.placedTo
	}
}

// meanLines puts the lines of several silences of one output together.
func (s *Silence) meanLines(takes []*Silence, weights []float64) {
	for t, take := range takes {
		for h, p := range take.linePowers {
			if h == len(s.linePowers) {
				s.linePowers, s.lineVariance = append(s.linePowers, bandPower{}), append(s.lineVariance, 0)
			}
			s.linePowers[h].power += weights[t] * p.power
			s.linePowers[h].variance += sq(weights[t]) * p.variance
			s.lineVariance[h] += weights[t] * take.lineVariance[h] * take.LengthS / s.LengthS
		}
		for h, b := range take.lineBounds {
			if h == len(s.lineBounds) {
				s.lineBounds = append(s.lineBounds, 0)
			}
			s.lineBounds[h] = math.Max(s.lineBounds[h], b)
		}
	}
	for _, first := range takes[0].HighHarmonics {
		var same []MainsHarmonic
		for _, take := range takes {
			for _, x := range take.HighHarmonics {
				if x.Harmonic == first.Harmonic {
					same = append(same, x)
				}
			}
		}
		if len(same) == len(takes) {
			s.HighHarmonics = append(s.HighHarmonics, meanHarmonic(same))
		}
	}
}
