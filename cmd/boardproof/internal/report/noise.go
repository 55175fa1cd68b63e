package report

import (
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

const (
	// noiseSpanDB and noiseDepthDB bound the range of the noise plot.
	noiseSpanDB, noiseDepthDB = 40, 90
	// namedHarmonics and namedTones is how many get their number or frequency.
	namedHarmonics, namedTones = 6, 5
)

// NoisePlot is what the plot of the noise spectrum shows: one density curve per
// output, in dBu in 1 Hz.
type NoisePlot struct {
	Heading
	Curves []analysis.Curve
	// Floor is the bench's own noise, nil if it is not known.
	Floor *analysis.Curve
	// Lines are hum harmonics and other tones of these outputs. Those that
	// are upper bounds only, and other quantities, are left out.
	Lines []analysis.Reading
}

// SaveNoise is like SaveResponse for noise.svg and noise.png.
func SaveNoise(dir string, p NoisePlot) ([]string, error) {
	if err := drawable(p.Curves); err != nil {
		return nil, fmt.Errorf("plot noise: %w", err)
	}
	name := "noise"
	if p.Name != "" {
		name = p.Name
	}
	return save(dir, name, p.paint)
}

func (n NoisePlot) paint(c draw.Canvas) {
	c = drawHeading(c, "Noise", n.Heading)
	var traces []trace
	var entries []entry
	e := emptyExtent()
	if n.Floor != nil {
		e.curve(*n.Floor, n.Floor.Value)
		traces = append(traces, spectrum(*n.Floor, floorInk(), 0))
	}
	for i, curve := range n.Curves {
		e.curve(curve, curve.Value)
		traces = append(traces, spectrum(curve, n.ink(i), i))
		entries = append(entries, lineEntry(outputName(curve), n.ink(i)))
	}
	if n.Floor != nil {
		entries = append(entries, lineEntry("bench floor", floorInk()))
	}
	c = drawNotes(drawLegend(c, entries), n.Curves)
	y := e.padded(noiseSpanDB, noiseDepthDB)
	p := panel(topHz(n.Curves), "noise density, dBu in 1 Hz", y, stepFor(y.hi-y.lo, 9))
	rows := n.rows()
	strip := c
	c.Max.Y -= vg.Length(len(rows)) * rowHeight
	p.Draw(c)
	data := p.DataCanvas(c)
	strip.Min = vg.Point{X: data.Min.X, Y: data.Max.Y}
	strip.Max.X = data.Max.X
	for _, r := range rows {
		r.drawStems(data, p)
	}
	drawTraces(data, p, traces)
	for _, r := range rows {
		strip.Min.Y = r.draw(strip, p)
	}
	frame(data)
}

// ink is an output's ink with a thinner line: spectra are ragged.
func (n NoisePlot) ink(i int) ink {
	in := inkOf(i)
	in.line.Width = min(in.line.Width, 1.8)
	return in
}

const rowHeight = vg.Length(25)

// row is the lines of one kind of one output, marked in a strip above the
// spectrum.
type row struct {
	label string
	lines []analysis.Reading
	// named is how many of the strongest are labelled.
	named int
	name  func(analysis.Reading) string
	// style is of the stems that go down into the spectrum from named lines.
	stem draw.LineStyle
}

// rows are, from the bottom, the mains combs and the other tones, the first
// output's on top of each, and only where there is something to mark.
func (n NoisePlot) rows() []row {
	var rows []row
	for _, curve := range slices.Backward(n.Curves) {
		rows = append(rows, row{
			label: oneLine("mains " + curve.Output), lines: n.linesOf(analysis.HumHarmonic, curve), named: namedHarmonics,
			name: func(r analysis.Reading) string { return fmt.Sprint(r.Harmonic) },
			stem: draw.LineStyle{Color: gridMajor, Width: 0.9},
		})
	}
	for _, curve := range slices.Backward(n.Curves) {
		rows = append(rows, row{
			label: oneLine("tones " + curve.Output), lines: n.linesOf(analysis.OtherTone, curve), named: namedTones,
			name: func(r analysis.Reading) string { return strings.Replace(hertz(r.FrequencyHz), " kHz", "k", 1) },
			stem: draw.LineStyle{Color: dark, Width: 0.8, Dashes: []vg.Length{1, 2}},
		})
	}
	return slices.DeleteFunc(rows, func(r row) bool { return len(r.lines) == 0 })
}

// linesOf are an output's lines of one quantity, the strongest first.
func (n NoisePlot) linesOf(quantity string, c analysis.Curve) []analysis.Reading {
	top := topHz(n.Curves)
	var lines []analysis.Reading
	for _, r := range n.Lines {
		if r.Quantity == quantity && r.Output == c.Output && r.State == c.State && !r.UpperBound &&
			finite(r.Value) && r.FrequencyHz >= lowestHz && r.FrequencyHz <= top {
			lines = append(lines, r)
		}
	}
	slices.SortStableFunc(lines, func(a, b analysis.Reading) int {
		switch {
		case a.Value > b.Value:
			return -1
		case a.Value < b.Value:
			return 1
		}
		return 0
	})
	return lines
}

func (r row) drawStems(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	for _, l := range r.lines[:min(r.named, len(r.lines))] {
		c.StrokeLine2(r.stem, x(l.FrequencyHz), c.Min.Y, x(l.FrequencyHz), c.Max.Y)
	}
}

// draw draws the row at the bottom of c and returns its top. Names that would
// touch a stronger line's are left out; their marks stay.
func (r row) draw(c draw.Canvas, p *plot.Plot) vg.Length {
	x, _ := p.Transforms(&c)
	const tickHeight, clear = 8, 3
	sty := letters(smallSize, black)
	sty.YAlign = draw.YBottom
	base := c.Min.Y
	c.StrokeLine2(draw.LineStyle{Color: gridMajor, Width: 0.6}, c.Min.X, base, c.Max.X, base)
	aside := sty
	aside.XAlign = draw.XRight
	c.FillText(aside, vg.Point{X: c.Min.X - 6, Y: base + 1}, shorten(sty, r.label, 46))
	type span struct{ from, to vg.Length }
	var taken []span
	for i, l := range r.lines {
		at := x(l.FrequencyHz)
		c.StrokeLine2(draw.LineStyle{Color: black, Width: 1}, at, base, at, base+tickHeight)
		if i >= r.named {
			continue
		}
		name := r.name(l)
		w := sty.Width(name)
		s := span{min(max(at-w/2, c.Min.X), c.Max.X-w), 0}
		s.to = s.from + w
		if slices.ContainsFunc(taken, func(o span) bool { return s.from < o.to+clear && o.from < s.to+clear }) {
			continue
		}
		taken = append(taken, s)
		c.FillText(sty, vg.Point{X: s.from, Y: base + tickHeight + 1}, name)
	}
	return base + rowHeight
}
