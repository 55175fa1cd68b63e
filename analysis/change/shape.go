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
	corners       = 90
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
	section := make([][]float64, corners+1)
	corner := make([]float64, corners+1)
	for k := range section {
		// The last is a corner at infinity: no section at all.
		corner[k] = math.Inf(1)
		if k < corners {
			corner[k] = cornersFromHz * math.Pow(cornersToHz/cornersFromHz, float64(k)/(corners-1))
		}
		section[k] = make([]float64, len(f))
		for i := range f {
			r := f[i] / corner[k]
			section[k][i] = 10 * math.Log10(1+r*r)
		}
	}
	best := shape{residualDB: math.Inf(1)}
	for z := range section {
		for p := range section {
			if z == p && z < corners {
				continue
			}
			if level, rms := leftOver(d, section[z], section[p]); rms < best.residualDB*(1-1e-6) {
				best = shape{LevelDB: level, ZeroHz: corner[z], PoleHz: corner[p], residualDB: rms}
			}
		}
	}
	best.fits = best.residualDB <= math.Max(fitShare*largest, fitFloorDB)
	return best
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

// parts are a difference at the middle of the band, and at its ends against
// that, in dB, 0 where it is within its uncertainty.
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

func partsOf(c CurveChange) parts {
	m, t, b := c.at(middleHz), c.at(trebleHz), c.at(bassHz)
	beyond := func(d float64, u ...float64) float64 {
		if math.Abs(d) <= analysis.Hypot(u...) {
			return 0
		}
		return d
	}
	return parts{
		level:  beyond(c.Difference[m], c.Uncertainty[m]),
		treble: beyond(c.Difference[t]-c.Difference[m], c.Uncertainty[t], c.Uncertainty[m]),
		bass:   beyond(c.Difference[b]-c.Difference[m], c.Uncertainty[b], c.Uncertainty[m]),
		shape:  shapeOf(c.FrequencyHz, c.Difference),
	}
}
