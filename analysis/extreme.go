package analysis

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Extreme is the largest of many readings, each of which noise moves.
type Extreme struct {
	// Index is which is the largest as read.
	Index int
	// Excess is by how much noise has made it too large, as a mean.
	Excess Estimate
}

// choiceBias is how the excess of the largest relates to what the same noise adds
// once more: of readings that are all alike at heart it makes √2 times as much
// excess, so that what it adds is √2−1 of what is there already.
var choiceBias = 1 / (math.Sqrt2 - 1)

// LargestOf finds the largest of value, whose points lie at frequencies hz and
// whose standard uncertainties std are those of noise alone. Of several that are
// equal but for noise the largest is too large: between not at all, where the
// others are below it at heart, and as much as of equals. Half of that is the
// excess, and its standard uncertainty that of an even spread to both ends. Points
// nearer than a gate resolves count once.
func LargestOf(hz, value, std []float64) Extreme {
	x := Extreme{Index: -1}
	var top, spread []float64
	end := math.Inf(-1)
	for i, v := range value {
		if hz[i] >= end {
			w, _ := gateFor(hz[i])
			end = hz[i] + 1/w.length()
			top, spread = append(top, v), append(spread, std[i])
		} else if last := len(top) - 1; v > top[last] {
			top[last], spread[last] = v, std[i]
		}
		if x.Index < 0 || v > value[x.Index] {
			x.Index = i
		}
	}
	if x.Index < 0 {
		return x
	}
	half := choiceBias / 2 * expectedExcess(top, spread, value[x.Index])
	x.Excess = Estimate{half, half / math.Sqrt(3)}
	return x
}

// expectedExcess is by how much the largest of values that normal noise moves
// exceeds most, the largest of them, as a mean: ∫(1−∏Φ)dx above it less ∫∏Φ dx
// below it.
func expectedExcess(value, std []float64, most float64) float64 {
	const reach, steps = 6.0, 100
	var v, s []float64
	widest := 0.0
	for i := range value {
		if value[i]+reach*std[i] >= most {
			v, s, widest = append(v, value[i]), append(s, std[i]), math.Max(widest, std[i])
		}
	}
	if widest == 0 || len(v) < 2 {
		return 0
	}
	// What lies far below in its own noise does not count: the range is that of the
	// noise that does.
	sum, step := 0.0, 2*reach*widest/steps
	for k := range steps {
		x := -reach*widest + (float64(k)+0.5)*step
		below := 1.0
		for i := range v {
			if s[i] > 0 {
				below *= math.Erfc((v[i]-most-x)/s[i]/math.Sqrt2) / 2
			} else if v[i]-most > x {
				below = 0
			}
			if below < 1e-9 {
				break
			}
		}
		if x > 0 {
			below--
		}
		sum -= below * step
	}
	return math.Max(0, sum)
}

// within returns m from lowHz to highHz, with these two as points of their own,
// nothing where m does not reach into that band.
func (m Magnitude) within(lowHz, highHz float64) Magnitude {
	n := len(m.FrequencyHz)
	if n < 4 || lowHz > m.FrequencyHz[n-1] || highHz < m.FrequencyHz[0] {
		return Magnitude{}
	}
	lowHz, highHz = math.Max(lowHz, m.FrequencyHz[0]), math.Min(highHz, m.FrequencyHz[n-1])
	from, to := sort.SearchFloat64s(m.FrequencyHz, lowHz), sort.SearchFloat64s(m.FrequencyHz, highHz)
	ends := func(x, inside []float64, low, high float64) []float64 {
		return append(append(append(x, low), inside...), high)
	}
	out := Magnitude{FrequencyHz: ends(nil, m.FrequencyHz[from:to], lowHz, highHz), DB: ends(nil, m.DB[from:to], m.at(lowHz), m.at(highHz))}
	low, high := m.beside(lowHz), m.beside(highHz)
	if m.known != nil {
		out.known = append(append(append(out.known, m.known[low]), m.known[from:to]...), m.known[high])
	}
	for _, p := range m.parts {
		p.std = ends(nil, p.std[from:to], p.std[low], p.std[high])
		out.parts = append(out.parts, p)
	}
	return out
}

// beside is which of m's points is nearest to f.
func (m Magnitude) beside(f float64) int {
	i := sort.SearchFloat64s(m.FrequencyHz, f)
	if i == len(m.FrequencyHz) || i > 0 && f-m.FrequencyHz[i-1] < m.FrequencyHz[i]-f {
		i--
	}
	return i
}

// at reads m between its points.
func (m Magnitude) at(f float64) float64 {
	if i := m.beside(f); m.FrequencyHz[i] == f || m.read == nil {
		return m.DB[i]
	}
	return m.read(f)
}

// peak is where, around hz and between fromHz and toHz, m is furthest from fromDB,
// and what it is there.
func (m Magnitude) peak(hz, db, fromDB, fromHz, toHz float64) (atHz, atDB float64) {
	away := func(f float64) float64 { return math.Abs(m.at(f) - fromDB) }
	i := m.beside(hz)
	low, high := math.Max(fromHz, m.FrequencyHz[max(0, i-1)]), math.Min(toHz, m.FrequencyHz[min(len(m.DB)-1, i+1)])
	const golden = 0.6180339887498949
	for range 30 {
		a, b := high-golden*(high-low), low+golden*(high-low)
		if away(a) > away(b) {
			high = b
		} else {
			low = a
		}
	}
	if atHz = (low + high) / 2; away(atHz) > math.Abs(db-fromDB) {
		return atHz, m.at(atHz)
	}
	return hz, db
}

// curve gives m, on the fine grid, as the curve that like is a coarse one of.
func (m Magnitude) curve(like Curve) func(lowHz, highHz float64) Curve {
	return func(lowHz, highHz float64) Curve {
		band := m.within(lowHz, highHz)
		c := Curve{Quantity: like.Quantity, Output: like.Output, Reference: like.Reference, State: like.State, Unit: like.Unit,
			FrequencyHz: band.FrequencyHz, Value: band.DB, Uncertainty: band.expanded(), NoiseUncertainty: band.noiseExpanded(),
			SharedUncertainty: like.SharedUncertainty}
		band.bounded(&c)
		return c
	}
}

// ownStd is the standard uncertainty of point i that other points do not share.
func (m Magnitude) ownStd(i int) float64 {
	sum := 0.0
	for _, p := range m.parts {
		if !p.shared {
			sum += sq(p.std[i])
		}
	}
	return math.Sqrt(sum)
}

// furthest is a level that is the furthest from another one over a band.
type furthest struct {
	db, hz float64
	budget Budget
	// atLeast: it is no less far than this, and how far noise hides.
	atLeast bool
}

// hiddenSigmas is what noise may have made of the worst of thousands of points.
const hiddenSigmas = 4.0

// furthestFrom returns where m is furthest from fromDB between lowHz and highHz,
// signed. between is the budget of a level against fromDB at a point of band. Where
// some of the band is under the noise it is a bound.
func (m Magnitude) furthestFrom(fromDB, lowHz, highHz float64, between func(band Magnitude, i int) Budget) (furthest, error) {
	band := m.within(lowHz, highHz)
	if bounds, err := band.leastFrom(fromDB); err != nil || bounds.atLeast {
		return bounds, err
	}
	away, std := make([]float64, len(band.DB)), make([]float64, len(band.DB))
	for i, db := range band.DB {
		away[i], std[i] = math.Abs(db-fromDB), band.ownStd(i)
	}
	x := LargestOf(band.FrequencyHz, away, std)
	if x.Index < 0 {
		return furthest{}, fmt.Errorf("no response was measured from %g to %g Hz", lowHz, highHz)
	}
	hz, db := m.peak(band.FrequencyHz[x.Index], band.DB[x.Index], fromDB, band.FrequencyHz[0], band.FrequencyHz[len(band.DB)-1])
	sign := math.Copysign(1, db-fromDB)
	return furthest{hz: hz, db: db - fromDB - sign*math.Min(x.Excess.Value, math.Abs(db-fromDB)),
		budget: append(between(band, x.Index), nonzero(evenly(sourceChoice, x.Excess.Std))...)}, nil
}

// leastFrom is how far from fromDB m goes at least; not atLeast where all of it are
// figures. It is an error where neither side is a bound.
func (m Magnitude) leastFrom(fromDB float64) (furthest, error) {
	out := furthest{}
	below, above := false, false // goes further than is known
	for i, db := range m.DB {
		noise := hiddenSigmas * m.ownStd(i) / DBFromRelative(1)
		least, most := db+DB(math.Max(0, 1-noise)), db+DB(1+noise)
		switch m.is(i) {
		case isNothing:
			return furthest{}, fmt.Errorf("at %.4g Hz there is nothing but noise: what it is there cannot be told", m.FrequencyHz[i])
		case isAtMost:
			below, least = true, math.Inf(-1)
		case isAtLeast:
			above, least, most = true, db-DB(1+noise), math.Inf(1)
		}
		for _, d := range []float64{math.Max(0, least-fromDB), math.Min(0, most-fromDB)} {
			if math.Abs(d) > math.Abs(out.db) || out.hz == 0 {
				out.db, out.hz = d, m.FrequencyHz[i]
			}
		}
	}
	if out.atLeast = below || above; out.atLeast && (out.db > 0 && below || out.db < 0 && above) {
		return out, fmt.Errorf("%w: it is %.1f dB at %.4g Hz at least, and further off the other way perhaps, where it is under the noise", errEitherWay, out.db, out.hz)
	}
	return out, nil
}

// errEitherWay is that of a level of which no side is a bound.
var errEitherWay = errors.New("which is the furthest cannot be told")

// Flatness returns the largest departure in dB, without sign, from the
// response at 1 kHz between lowHz and highHz, both included, and the frequency
// where it is.
func (m Magnitude) Flatness(lowHz, highHz float64) (db float64, b Budget, atHz float64, err error) {
	w, err := m.flatness(lowHz, highHz)
	return math.Abs(w.db), w.budget, w.hz, err
}

func (m Magnitude) flatness(lowHz, highHz float64) (furthest, error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	if ref < 0 {
		return furthest{}, errors.New("there is no response at 1 kHz")
	}
	w, err := m.furthestFrom(m.DB[ref], lowHz, highHz, func(band Magnitude, i int) Budget { return band.between(i, m, ref) })
	if errors.Is(err, errEitherWay) {
		return w, nil // which way does not matter
	}
	return w, err
}

// Worst returns the level furthest from 0 dB between lowHz and highHz, both
// included.
func (m Magnitude) worst(lowHz, highHz float64) (furthest, error) {
	return m.furthestFrom(0, lowHz, highHz, func(band Magnitude, i int) Budget { return band.Budget(i) })
}
