package report

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/hunt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// HuntPlot is what the plot of a hum hunt shows: for each condition, one bar
// for each group at one output.
type HuntPlot struct {
	Heading
	Output string
	// Readings are those of the output, in order; repeats stand side by side.
	Readings []hunt.Reading
}

// barGroups are the groups that have a bar: hiss is no hum.
func barGroups() []string {
	return []string{hunt.Fundamental, hunt.Even, hunt.Odd, hunt.Buzz, hunt.OtherTones}
}

// huntSpanDB is the least range of levels that is shown.
const huntSpanDB = 40

// SaveHunt is like SaveResponse for hunt.svg and hunt.png.
func SaveHunt(dir string, p HuntPlot) ([]string, error) {
	var readable []hunt.Reading
	for _, r := range p.Readings {
		if r.Reason == "" {
			readable = append(readable, r)
		}
	}
	if p.Readings = readable; len(readable) == 0 {
		return nil, fmt.Errorf("plot hunt: %w", errors.New("no condition could be read"))
	}
	name := "hunt"
	if p.Name != "" {
		name = p.Name
	}
	return save(dir, name, p.paint)
}

func (h HuntPlot) paint(c draw.Canvas) {
	c = drawHeading(c, "Hum at output "+h.Output, h.Heading)
	e := emptyExtent()
	for _, r := range h.Readings {
		for _, g := range barGroups() {
			l := r.Levels[g]
			if v, u, ok := shownLevel(r, l); ok {
				e.add(v-math.Min(u, 20), v+math.Min(u, 20))
			}
		}
	}
	y := e.padded(huntSpanDB, 140)
	c = drawLegend(c, huntLegend(h.benchShows(y)))
	c.Max.X -= 4
	p := huntPanel(len(h.Readings), h.Readings[0], y)
	label := letters(h.labelSize(), black)
	high := vg.Length(0)
	names := make([][]string, len(h.Readings))
	width := (c.Max.X - c.Min.X - 52) / vg.Length(len(h.Readings))
	for i, r := range h.Readings {
		names[i] = stacked(label, r.Condition.String(), width-4)
		high = max(high, vg.Length(len(names[i]))*label.Height("Xg")*1.05)
	}
	axes := c
	axes.Min.Y += high + 8
	p.Draw(axes)
	data := p.DataCanvas(axes)
	x, toY := p.Transforms(&data)
	for i, r := range h.Readings {
		left, right := x(float64(i)), x(float64(i)+1)
		if i > 0 {
			data.StrokeLine2(draw.LineStyle{Color: gridMajor, Width: 0.8}, left, data.Min.Y, left, data.Max.Y)
		}
		drawBars(data, r, left, right, toY)
		label.XAlign, label.YAlign = draw.XCenter, draw.YTop
		for n, line := range names[i] {
			data.FillText(label, vg.Point{X: (left + right) / 2, Y: data.Min.Y - 5 - vg.Length(n)*label.Height("Xg")*1.05}, line)
		}
	}
	frame(data)
}

// benchShows says whether the bench's own level is anywhere on the paper.
func (h HuntPlot) benchShows(y extent) bool {
	for _, r := range h.Readings {
		for _, g := range barGroups() {
			l := r.Levels[g]
			l.RMS = analysis.Estimate{Value: l.BenchRMS}
			if v, _, ok := shownLevel(r, l); ok && v > y.lo && v < y.hi {
				return true
			}
		}
	}
	return false
}

// labelSize makes room for many conditions.
func (h HuntPlot) labelSize() vg.Length {
	if len(h.Readings) > 7 {
		return 8.5
	}
	return smallSize
}

// stacked breaks text into lines of a width, four at most.
func stacked(sty text.Style, s string, width vg.Length) []string {
	const most = 4
	var lines []string
	for _, word := range strings.Fields(oneLine(s)) {
		if n := len(lines); n > 0 && sty.Width(lines[n-1]+" "+word) <= width {
			lines[n-1] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	if len(lines) > most {
		lines = append(lines[:most-1], strings.Join(lines[most-1:], " "))
	}
	for i := range lines {
		lines[i] = shorten(sty, lines[i], width)
	}
	return lines
}

func huntPanel(conditions int, first hunt.Reading, y extent) *plot.Plot {
	p := panel(highestHz, "level, "+huntUnit(first), y, stepFor(y.hi-y.lo, 9))
	p.X.Scale, p.X.Tick.Marker = plot.LinearScale{}, plot.ConstantTicks(nil)
	p.X.Min, p.X.Max = 0, float64(conditions)
	p.X.Label.Text = ""
	return p
}

// drawBars draws the groups of one condition between left and right.
func drawBars(c draw.Canvas, r hunt.Reading, left, right vg.Length, y func(float64) vg.Length) {
	const gap = 0.12
	margin := (right - left) * gap
	step := (right - left - 2*margin) / vg.Length(len(barGroups()))
	step = min(step, 26)
	start := (left+right)/2 - step*vg.Length(len(barGroups()))/2
	for i, g := range barGroups() {
		l := r.Levels[g]
		level, u, ok := shownLevel(r, l)
		if !ok {
			continue
		}
		from := start + step*vg.Length(i)
		box := vg.Rectangle{Min: vg.Point{X: from + 0.5, Y: c.Min.Y}, Max: vg.Point{X: from + step - 0.5, Y: min(max(y(level), c.Min.Y), c.Max.Y)}}
		if l.UpperBound {
			drawOpenBar(c, box)
		} else {
			drawBar(c, i, box)
			drawWhisker(c, (box.Min.X+box.Max.X)/2, y(level-u), y(level+u))
		}
		drawBenchLevel(c, r, l, box, y)
	}
}

// barInk is the fill of a group's bar: its grey and its hatching both tell it
// from its neighbours.
var barInk = []struct {
	grey  uint8
	hatch func(c draw.Canvas, box vg.Rectangle)
}{
	{0x30, func(draw.Canvas, vg.Rectangle) {}},
	{0xff, hatchLines(1, 4)},
	{0xc8, func(draw.Canvas, vg.Rectangle) {}},
	{0xff, hatchFlat(3)},
	{0xff, func(c draw.Canvas, box vg.Rectangle) { hatchLines(1, 5)(c, box); hatchLines(-1, 5)(c, box) }},
}

func drawBar(c draw.Canvas, group int, box vg.Rectangle) {
	in := barInk[group]
	outline := []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}, box.Min}
	c.FillPolygon(greyOf(in.grey), outline)
	in.hatch(c, box)
	c.StrokeLines(draw.LineStyle{Color: black, Width: 0.8}, outline)
}

// drawOpenBar draws an upper bound: dashed sides, no fill, no uncertainty, and
// an arrow down from its top, for the level may lie anywhere below.
func drawOpenBar(c draw.Canvas, box vg.Rectangle) {
	dashed := draw.LineStyle{Color: dark, Width: 0.7, Dashes: []vg.Length{2, 2}}
	c.StrokeLines(dashed, []vg.Point{box.Min, {X: box.Min.X, Y: box.Max.Y}, box.Max, {X: box.Max.X, Y: box.Min.Y}})
	x := (box.Min.X + box.Max.X) / 2
	solid := draw.LineStyle{Color: dark, Width: 0.8}
	c.StrokeLine2(solid, box.Min.X, box.Max.Y, box.Max.X, box.Max.Y)
	if tip := box.Max.Y - 8; tip > c.Min.Y {
		c.StrokeLine2(solid, x, box.Max.Y, x, tip)
		c.StrokeLines(solid, []vg.Point{{X: x - 2, Y: tip + 2.5}, {X: x, Y: tip}, {X: x + 2, Y: tip + 2.5}})
	}
}

func drawWhisker(c draw.Canvas, x, lo, hi vg.Length) {
	lo, hi = max(lo, c.Min.Y), min(hi, c.Max.Y)
	if hi-lo < 1 {
		return
	}
	over := draw.LineStyle{Color: beyondLabel, Width: 2.4}
	c.StrokeLine2(over, x, lo, x, hi)
	sty := draw.LineStyle{Color: black, Width: 1}
	c.StrokeLine2(sty, x, lo, x, hi)
	c.StrokeLine2(sty, x-2, lo, x+2, lo)
	c.StrokeLine2(sty, x-2, hi, x+2, hi)
}

// drawBenchLevel marks with a short thick line what the bench has by itself.
func drawBenchLevel(c draw.Canvas, r hunt.Reading, l hunt.Level, box vg.Rectangle, y func(float64) vg.Length) {
	l.RMS = analysis.Estimate{Value: l.BenchRMS}
	level, _, ok := shownLevel(r, l)
	if at := y(level); ok && c.ContainsY(at) {
		c.StrokeLine2(draw.LineStyle{Color: beyondLabel, Width: 4}, box.Min.X, at, box.Max.X, at)
		c.StrokeLine2(draw.LineStyle{Color: black, Width: 2}, box.Min.X, at, box.Max.X, at)
	}
}

func huntLegend(bench bool) []entry {
	var entries []entry
	for i, g := range barGroups() {
		entries = append(entries, entry{g, func(c draw.Canvas) { drawBar(c, i, c.Rectangle) }})
	}
	entries = append(entries,
		entry{"no more than this", func(c draw.Canvas) { drawOpenBar(c, c.Rectangle) }},
		entry{"± uncertainty (k = 2)", func(c draw.Canvas) { drawWhisker(c, c.Center().X, c.Min.Y, c.Max.Y) }})
	if bench {
		entries = append(entries, entry{"the bench's own", func(c draw.Canvas) {
			c.StrokeLine2(draw.LineStyle{Color: black, Width: 2}, c.Min.X+12, c.Center().Y, c.Max.X-12, c.Center().Y)
		}})
	}
	return entries
}
