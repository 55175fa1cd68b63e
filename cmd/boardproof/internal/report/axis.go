package report

import (
	"math"
	"strconv"

	"boardproof/analysis"

	"gonum.org/v1/plot"
)

const (
	lowestHz  = 10.0
	highestHz = 22e3
	// deepestDB is how far below the highest point a level plot reaches.
	deepestDB = 30.0
)

// Beyond these a figure is no level and no frequency of audio, and an axis that
// held it would show nothing.
const (
	absurdDB = 1e5
	absurdHz = 1e6
)

// onPaper reports whether a point can be drawn at all.
func onPaper(frequencyHz, value float64) bool {
	return frequencyHz > 0 && frequencyHz <= absurdHz && math.Abs(value) <= absurdDB
}

// topHz is where the frequency axis ends: 22 kHz, or where the curves end if
// that is higher.
func topHz(curves []analysis.Curve) float64 {
	top := highestHz
	for _, c := range curves {
		for _, f := range c.FrequencyHz {
			if f <= absurdHz {
				top = max(top, f)
			}
		}
	}
	return top
}

// frequencyTicks labels 10, 20, 50, 100 and so on.
type frequencyTicks struct{}

func (frequencyTicks) Ticks(lo, hi float64) []plot.Tick {
	var ticks []plot.Tick
	for decade := math.Pow10(int(math.Floor(math.Log10(lo)))); decade <= hi; decade *= 10 {
		for n := 1.0; n < 10; n++ {
			f := n * decade
			if f < lo*(1-1e-9) || f > hi {
				continue
			}
			t := plot.Tick{Value: f}
			if n == 1 || n == 2 || n == 5 {
				t.Label = kilo(f)
			}
			ticks = append(ticks, t)
		}
	}
	return ticks
}

func kilo(f float64) string {
	if f >= 1000 {
		return plain(f/1000) + "k"
	}
	return plain(f)
}

// evenTicks are labelled at multiples of step, with minor ones between.
type evenTicks struct {
	step  float64
	parts int
}

func (e evenTicks) Ticks(lo, hi float64) []plot.Tick {
	var ticks []plot.Tick
	minor := e.step / float64(e.parts)
	for i := math.Ceil(lo/minor - 1e-6); i*minor <= hi+1e-6*minor; i++ {
		t := plot.Tick{Value: i * minor}
		if math.Mod(i, float64(e.parts)) == 0 {
			t.Label = e.label(t.Value)
		}
		ticks = append(ticks, t)
	}
	return ticks
}

func (e evenTicks) label(v float64) string {
	place := int(math.Floor(math.Log10(e.step) + 1e-9))
	s := toPlace(v, min(place, 0))
	if w, err := strconv.ParseFloat(s, 64); err == nil && w == 0 {
		return "0"
	}
	return s
}

// stepFor picks the step that gives the most ticks up to a number.
func stepFor(span float64, atMost int) evenTicks {
	for e := -6; e < 300; e++ {
		for _, m := range []struct {
			digit float64
			parts int
		}{{1, 5}, {2, 4}, {5, 5}} {
			if step := m.digit * math.Pow10(e); span/step <= float64(atMost) {
				return evenTicks{step: step, parts: m.parts}
			}
		}
	}
	return evenTicks{step: span, parts: 1}
}

// extent grows to hold what will be drawn.
type extent struct{ lo, hi float64 }

func emptyExtent() extent { return extent{math.Inf(1), math.Inf(-1)} }

func (e *extent) add(values ...float64) {
	for _, v := range values {
		if math.Abs(v) <= absurdDB {
			e.lo, e.hi = min(e.lo, v), max(e.hi, v)
		}
	}
}

// curve adds the part of a curve that the frequency axis shows, without bounds: they are
// no part of the board.
func (e *extent) curve(c analysis.Curve, values []float64) {
	for i, f := range c.FrequencyHz {
		if i < len(values) && f >= lowestHz && !isBound(c, i) {
			e.add(values[i])
		}
	}
}

// padded leaves room around the extent, never shows less than span and
// nothing deeper than depth below the top.
func (e extent) padded(span, depth float64) extent {
	if e.lo > e.hi {
		e = extent{-span / 2, span / 2}
	}
	e.lo = max(e.lo, e.hi-depth)
	if short := span - (e.hi - e.lo); short > 0 {
		e.lo, e.hi = e.lo-short/2, e.hi+short/2
	}
	room := 0.14 * (e.hi - e.lo)
	return extent{e.lo - room, e.hi + room}
}
