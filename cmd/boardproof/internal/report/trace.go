package report

import (
	"math"
	"slices"

	"boardproof/analysis"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// trace draws one curve: its uncertainty band, its line, its markers.
type trace struct {
	frequencyHz, value, uncertainty []float64
	// bound is where value is but a bound.
	bound []bool
	ink   ink
	// index sets the markers off from those of other traces.
	index int
}

var _ plot.Plotter = trace{}

func newTrace(c analysis.Curve, values, uncertainty []float64, in ink, index int) trace {
	n := min(len(c.FrequencyHz), len(values))
	t := trace{frequencyHz: c.FrequencyHz[:n], value: values[:n], ink: in, index: index, bound: make([]bool, n)}
	for i := range t.bound {
		t.bound[i] = isBound(c, i)
	}
	if len(uncertainty) >= n {
		t.uncertainty = uncertainty[:n]
	}
	return t
}

// isBound is true where c gives but a bound.
func isBound(c analysis.Curve, i int) bool {
	return i < len(c.UpperBound) && c.UpperBound[i] || i < len(c.LowerBound) && c.LowerBound[i]
}

// Plot implements plot.Plotter.
func (t trace) Plot(c draw.Canvas, p *plot.Plot) {
	for _, run := range t.only(false).runs(c, p, 0) {
		c.StrokeLines(t.ink.line, c.ClipLinesXY(thinned(run))...)
	}
	for _, run := range t.only(true).runs(c, p, 0) {
		c.StrokeLines(boundLine(t.ink), c.ClipLinesXY(thinned(run))...)
	}
	t.drawMarkers(c, p)
}

// only is t where it is a bound, or where it is not.
func (t trace) only(bound bool) trace {
	value := slices.Clone(t.value)
	for i, b := range t.bound {
		if b != bound {
			value[i] = math.NaN()
		}
	}
	t.value = value
	return t
}

// boundLine is thin and dotted.
func boundLine(in ink) draw.LineStyle {
	return draw.LineStyle{Color: in.line.Color, Width: 1, Dashes: []vg.Length{1.2, 2.4}}
}

// drawBand fills the uncertainty band; where it is narrower than the line the
// line hides it.
func (t trace) drawBand(c draw.Canvas, p *plot.Plot) {
	upper, lower := t.runs(c, p, 1), t.runs(c, p, -1)
	for i := range min(len(upper), len(lower)) {
		poly := thinned(upper[i])
		low := thinned(lower[i])
		for k := len(low) - 1; k >= 0; k-- {
			poly = append(poly, low[k])
		}
		c.FillPolygon(bandColor(t.ink.line.Color), c.ClipPolygonXY(poly))
	}
}

// bandShows reports whether the band is anywhere wider than the line.
func (t trace) bandShows(c draw.Canvas, p *plot.Plot) bool {
	_, y := p.Transforms(&c)
	for i, u := range t.uncertainty {
		if u <= absurdDB && onPaper(t.frequencyHz[i], t.value[i]) && c.ContainsY(y(t.value[i])) && y(t.value[i]+u)-y(t.value[i]-u) > t.ink.line.Width {
			return true
		}
	}
	return false
}

// runs are the stretches of the curve without gaps, on the canvas, shifted by
// sign times the uncertainty.
func (t trace) runs(c draw.Canvas, p *plot.Plot, sign float64) [][]vg.Point {
	if sign != 0 && t.uncertainty == nil {
		return nil
	}
	x, y := p.Transforms(&c)
	var runs [][]vg.Point
	var run []vg.Point
	for i, f := range t.frequencyHz {
		v, u := t.value[i], 0.0
		if t.uncertainty != nil {
			u = t.uncertainty[i]
		}
		if !onPaper(f, v) || (sign != 0 && !onPaper(f, u)) {
			if len(run) > 0 {
				runs, run = append(runs, run), nil
			}
			continue
		}
		run = append(run, vg.Point{X: x(f), Y: y(v + sign*u)})
	}
	if len(run) > 0 {
		runs = append(runs, run)
	}
	return runs
}

// thinned keeps at each half point of width the first, highest, lowest and
// last of the points there: more cannot be seen.
func thinned(pts []vg.Point) []vg.Point {
	const cell = 0.5
	var out []vg.Point
	for start := 0; start < len(pts); {
		end, lo, hi := start, start, start
		for end < len(pts) && math.Floor(float64(pts[end].X)/cell) == math.Floor(float64(pts[start].X)/cell) {
			if pts[end].Y < pts[lo].Y {
				lo = end
			}
			if pts[end].Y > pts[hi].Y {
				hi = end
			}
			end++
		}
		last := -1
		for _, i := range []int{start, min(lo, hi), max(lo, hi), end - 1} {
			if i > last {
				out = append(out, pts[i])
				last = i
			}
		}
		start = end
	}
	return out
}

const markerSpacing = vg.Length(84)

// drawMarkers sets markers at even distances, those of other traces between.
func (t trace) drawMarkers(c draw.Canvas, p *plot.Plot) {
	if t.ink.marker.Shape == nil {
		return
	}
	next := c.Min.X + markerSpacing*vg.Length(0.2+0.5*float64(t.index%2)+0.25*float64(t.index/2%2))
	for _, run := range t.runs(c, p, 0) {
		for i := 1; i < len(run); i++ {
			a, b := run[i-1], run[i]
			for ; next <= b.X; next += markerSpacing {
				if next < a.X {
					continue
				}
				c.DrawGlyph(t.ink.marker, vg.Point{X: next, Y: a.Y + (b.Y-a.Y)*(next-a.X)/max(b.X-a.X, 1e-9)})
			}
		}
	}
}

// grid draws light lines at all ticks of both axes.
type grid struct{}

var _ plot.Plotter = grid{}

// Plot implements plot.Plotter.
func (grid) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	style := func(t plot.Tick) draw.LineStyle {
		if t.IsMinor() {
			return draw.LineStyle{Color: gridMinor, Width: 0.5}
		}
		return draw.LineStyle{Color: gridMajor, Width: 0.6}
	}
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		c.StrokeLine2(style(t), x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
	}
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		c.StrokeLine2(style(t), c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
}
