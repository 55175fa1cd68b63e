package report

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Mask is a limit on a curve: between its points straight on a logarithmic
// frequency axis. Min and Max are nil, or as long as FrequencyHz; NaN or an
// infinity at a point means no limit there. A step is two points of one
// frequency.
type Mask struct {
	// Output is the output it holds for, "" for all.
	Output      string
	FrequencyHz []float64
	Min, Max    []float64
}

func (m Mask) label() string {
	if m.Output == "" {
		return "limit"
	}
	return "limit, " + oneLine(m.Output)
}

// edge is one side of a mask on the canvas, a stretch without gaps.
type edge struct {
	pts []vg.Point
	// up: what lies above is beyond the limit.
	up    bool
	label string
}

func (m Mask) edges(c draw.Canvas, p *plot.Plot) []edge {
	return append(m.side(c, p, m.Min, false), m.side(c, p, m.Max, true)...)
}

func (m Mask) side(c draw.Canvas, p *plot.Plot, values []float64, up bool) []edge {
	x, y := p.Transforms(&c)
	var edges []edge
	var pts []vg.Point
	flush := func() {
		if len(pts) > 1 {
			edges = append(edges, edge{pts: pts, up: up, label: m.label()})
		}
		pts = nil
	}
	for i := range min(len(values), len(m.FrequencyHz)) {
		f := m.FrequencyHz[i]
		if !onPaper(f, values[i]) {
			flush()
			continue
		}
		pts = append(pts, vg.Point{X: x(f), Y: y(values[i])})
	}
	flush()
	return edges
}

// at returns the height of the edge at x, false outside of it.
func (e edge) at(x vg.Length) (vg.Length, bool) {
	for i := 1; i < len(e.pts); i++ {
		a, b := e.pts[i-1], e.pts[i]
		if x >= a.X && x <= b.X && b.X > a.X {
			return a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X), true
		}
	}
	return 0, false
}

// contains reports whether a point of the canvas is beyond the limit.
func (e edge) contains(x, y vg.Length) bool {
	limit, ok := e.at(x)
	return ok && ((e.up && y > limit) || (!e.up && y < limit))
}

func (e edge) draw(c draw.Canvas) {
	outer := c.Min.Y
	if e.up {
		outer = c.Max.Y
	}
	poly := append([]vg.Point{{X: e.pts[0].X, Y: outer}}, e.pts...)
	poly = append(poly, vg.Point{X: e.pts[len(e.pts)-1].X, Y: outer})
	// A limit that lies wholly outside the frame would turn the polygon over.
	for i := range poly {
		poly[i].Y = min(max(poly[i].Y, c.Min.Y), c.Max.Y)
	}
	if clipped := c.ClipPolygonXY(poly); len(clipped) > 2 {
		c.FillPolygon(beyond, clipped)
	}
	drawHatch(c, c.Rectangle, e.contains)
}

func (e edge) drawLine(c draw.Canvas) {
	c.StrokeLines(draw.LineStyle{Color: black, Width: 1.1}, c.ClipLinesXY(e.pts)...)
}

// drawHatch strokes diagonals through the part of r that is inside.
func drawHatch(c draw.Canvas, r vg.Rectangle, inside func(x, y vg.Length) bool) {
	const spacing, step = 7, 0.5
	style := draw.LineStyle{Color: hatch, Width: 0.6}
	first := math.Floor(float64(r.Min.Y-r.Max.X)/spacing) * spacing
	for offset := vg.Length(first); offset < r.Max.Y-r.Min.X; offset += spacing {
		var from, to vg.Point
		open := false
		for x := max(r.Min.X, r.Min.Y-offset); x <= min(r.Max.X, r.Max.Y-offset); x += step {
			if !inside(x, x+offset) {
				if open {
					c.StrokeLine2(style, from.X, from.Y, to.X, to.Y)
				}
				open = false
				continue
			}
			to = vg.Point{X: x, Y: x + offset}
			if !open {
				from, open = to, true
			}
		}
		if open {
			c.StrokeLine2(style, from.X, from.Y, to.X, to.Y)
		}
	}
}

// labelBox finds a place for the edge's label just beyond it, where neither
// lines nor other labels are.
func (e edge) labelBox(c draw.Canvas, taken []vg.Rectangle, lines [][]vg.Point) (vg.Rectangle, bool) {
	sty := letters(smallSize, black)
	w, h := sty.Width(e.label)+6, sty.Height(e.label)+2
	left, right := max(e.pts[0].X, c.Min.X), min(e.pts[len(e.pts)-1].X, c.Max.X)
	const places = 24
	for i := range places {
		x := right - w - 6 - (right-left-w-12)*vg.Length(i)/(places-1)
		box, ok := e.boxAt(x, w, h)
		if ok && x >= left && box.Min.Y >= c.Min.Y && box.Max.Y <= c.Max.Y && !crowded(box, taken, lines) {
			return box, true
		}
	}
	return vg.Rectangle{}, false
}

func (e edge) drawLabel(c draw.Canvas, box vg.Rectangle) {
	sty := letters(smallSize, black)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	c.FillPolygon(beyondLabel, []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}})
	c.FillText(sty, vg.Point{X: (box.Min.X + box.Max.X) / 2, Y: (box.Min.Y + box.Max.Y) / 2}, e.label)
}

// boxAt is a box of w by h just beyond the edge, its left at x.
func (e edge) boxAt(x, w, h vg.Length) (vg.Rectangle, bool) {
	const clear = 3
	y := vg.Length(math.Inf(1))
	if e.up {
		y = -y
	}
	for i := range 9 {
		at, ok := e.at(x + w*vg.Length(i)/8)
		if !ok {
			return vg.Rectangle{}, false
		}
		if e.up {
			y = max(y, at+clear)
		} else {
			y = min(y, at-clear-h)
		}
	}
	return vg.Rectangle{Min: vg.Point{X: x, Y: y}, Max: vg.Point{X: x + w, Y: y + h}}, true
}

func crowded(box vg.Rectangle, taken []vg.Rectangle, curves [][]vg.Point) bool {
	for _, t := range taken {
		if box.Min.X < t.Max.X && t.Min.X < box.Max.X && box.Min.Y < t.Max.Y && t.Min.Y < box.Max.Y {
			return true
		}
	}
	const clear = 5
	wide := draw.Canvas{Rectangle: vg.Rectangle{
		Min: vg.Point{X: box.Min.X - clear, Y: box.Min.Y - clear},
		Max: vg.Point{X: box.Max.X + clear, Y: box.Max.Y + clear},
	}}
	return len(wide.ClipLinesXY(curves...)) > 0
}
