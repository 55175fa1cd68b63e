package change

import (
	"math"

	"boardproof/analysis"
)

// shape is what a difference of two responses looks like: one pole and one zero
// and a level,
//
//	LevelDB + 10·log10((1+(f/ZeroHz)²)/(1+(f/PoleHz)²))
//
// which is what one resistor and one capacitor, changed or added, do to a
// response: the first-order low-pass, high-pass and both shelves.
type shape struct {
	LevelDB, ZeroHz, PoleHz float64
	// residualDB is the RMS of what the fit leaves; fits says that this is
	// little against the difference.
	residualDB float64
	fits       bool
}

// Corners are tried from well below to well above the band.
const (
	cornersFromHz = 3.0
	cornersToHz   = 200e3
	corners       = 60
	refinements   = 3
)

// A difference has a shape when what is left of it is no more than a tenth of
// it or fitFloorDB, the ripple of a gate: common practice, no source.
const (
	fitShare   = 0.1
	fitFloorDB = 0.01
)

// shapeOf fits hz and db, the difference, inside the audible band by least
// squares, each point alike: points are evenly spaced in the logarithm of
// frequency, as hearing is.
func shapeOf(hz, db []float64) shape {
	var f, d []float64
	largest := 0.0
	for i := range hz {
		if hz[i] >= lowestHz && hz[i] <= highestHz {
			f, d = append(f, hz[i]), append(d, db[i])
			largest = math.Max(largest, math.Abs(db[i]))
		}
	}
	if len(f) < 3 {
		return shape{residualDB: math.Inf(1)}
	}
	best := shape{residualDB: math.Inf(1)}
	zeros := spread(cornersFromHz, cornersToHz, corners)
	poles := zeros
	for range refinements {
		best = best.better(f, d, zeros, poles)
		zeros, poles = around(zeros, best.ZeroHz), around(poles, best.PoleHz)
	}
	best.fits = best.residualDB <= math.Max(fitShare*largest, fitFloorDB)
	return best
}

// better looks for a better fit among pairs of corners, or one, or none.
func (s shape) better(f, d, zeros, poles []float64) shape {
	zeros, poles = append([]float64{math.Inf(1)}, zeros...), append([]float64{math.Inf(1)}, poles...)
	ofPole := sections(f, poles)
	for z, zero := range sections(f, zeros) {
		for p, pole := range ofPole {
			if level, rms := leftOver(d, zero, pole); rms < s.residualDB*simpler(zeros[z], poles[p], s)-1e-9 {
				s = shape{LevelDB: level, ZeroHz: zeros[z], PoleHz: poles[p], residualDB: rms}
			}
		}
	}
	return s
}

// simpler is what a fit with more corners must beat one with fewer by: a fifth,
// so that ripple does not look like a corner.
func simpler(zero, pole float64, than shape) float64 {
	count := func(hz ...float64) (n int) {
		for _, f := range hz {
			if !math.IsInf(f, 1) {
				n++
			}
		}
		return n
	}
	if count(zero, pole) > count(than.ZeroHz, than.PoleHz) {
		return 0.8
	}
	return 1
}

// sections are those of corners, 10·log10(1+(f/corner)²), at each f.
func sections(f, at []float64) [][]float64 {
	out := make([][]float64, len(at))
	for k, corner := range at {
		out[k] = make([]float64, len(f))
		for i := range f {
			out[k][i] = 10 * math.Log10(1+f[i]/corner*f[i]/corner)
		}
	}
	return out
}

// spread is n frequencies evenly spaced in their logarithm.
func spread(from, to float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = from * math.Pow(to/from, float64(i)/float64(n-1))
	}
	return out
}

// around is a narrower spread about hz, none about infinity.
func around(grid []float64, hz float64) []float64 {
	if math.IsInf(hz, 1) || len(grid) < 2 {
		return nil
	}
	step := grid[1] / grid[0]
	return spread(hz/step, hz*step, 11)
}

// leftOver is the level that fits d best beside zero and pole, and the RMS of
// what remains.
func leftOver(d, zero, pole []float64) (level, rms float64) {
	n := float64(len(d))
	for i := range d {
		level += (d[i] - zero[i] + pole[i]) / n
	}
	for i := range d {
		r := d[i] - zero[i] + pole[i] - level
		rms += r * r / n
	}
	return level, math.Sqrt(rms)
}

// parts are what a difference does to the whole band, to the treble and to the
// bass, in dB, 0 where that is within its uncertainty.
type parts struct {
	level, treble, bass float64
	shape               shape
}

// Where the parts are read: common practice, no source.
const (
	middleHz = 1000.0
	trebleHz = 10000.0
	bassHz   = 50.0
)

// partsOf reads a difference that has a shape against the plateau on the
// other side of its corners, any other against 1 kHz.
func partsOf(c CurveChange) parts {
	s := shapeOf(c.FrequencyHz, c.Difference)
	m, t, b := c.at(middleHz), c.at(trebleHz), c.at(bassHz)
	// Less than a tenth of the whole is not worth a word.
	least := math.Max(3*s.residualDB, 0.1*math.Abs(c.Difference[c.at(c.WorstHz)]))
	if !s.fits {
		least = 0
	}
	beyond := func(d float64, u ...float64) float64 {
		if math.Abs(d) <= math.Max(least, analysis.Hypot(u...)) {
			return 0
		}
		return d
	}
	middle, ofTreble, ofBass := c.Difference[m], true, true
	if s.fits {
		middle, ofTreble = s.plateau()
		ofBass = !ofTreble
	}
	p := parts{level: beyond(middle, c.Uncertainty[m]), shape: s}
	if ofTreble {
		p.treble = beyond(c.Difference[t]-middle, c.apart(t, m))
	}
	if ofBass {
		p.bass = beyond(c.Difference[b]-middle, c.apart(b, m))
	}
	return p
}

// apart is the expanded uncertainty of what points i and j differ by.
func (c CurveChange) apart(i, j int) float64 {
	if c.parted {
		return analysis.CoverageK * analysis.Hypot(c.alone[i], c.alone[j])
	}
	return analysis.Hypot(c.Uncertainty[i], c.Uncertainty[j])
}

// plateau is the level on the side of the corners that holds more of the band,
// and whether it is the treble that leaves it.
func (s shape) plateau() (db float64, treble bool) {
	z, p := s.ZeroHz, s.PoleHz
	switch {
	case math.IsInf(z, 1) && math.IsInf(p, 1):
		return s.LevelDB, true
	case math.IsInf(z, 1):
		z = p
	case math.IsInf(p, 1):
		p = z
	}
	if math.Sqrt(z*p) > middleHz/2 || s.ZeroHz != z || s.PoleHz != p {
		return s.LevelDB, true
	}
	return s.LevelDB + 20*math.Log10(p/z), false
}
