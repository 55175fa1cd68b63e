package report

import (
	"errors"
	"fmt"
	"slices"

	"boardproof/analysis"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ResponsePlot is what the plot of the response shows: one curve per output.
type ResponsePlot struct {
	Heading
	Curves []analysis.Curve
	Masks  []Mask
	// RelativeToHz draws each curve relative to its own level there; 0 draws
	// the gain itself. The masks are taken as they are.
	RelativeToHz float64
	// Phase adds a smaller panel below with the phase of each curve.
	Phase bool
}

// SplitPlot is what the plot of the split difference shows.
type SplitPlot struct {
	Heading
	Curves []analysis.Curve
	Masks  []Mask
}

// SaveResponse writes response.svg and response.png (or Name's) into dir, which
// must exist, and returns their paths. Without a curve that can be drawn it is
// an error and no file is left.
func SaveResponse(dir string, p ResponsePlot) ([]string, error) {
	l, err := p.levels()
	if err != nil {
		return nil, fmt.Errorf("plot response: %w", err)
	}
	return l.save(dir, "response")
}

func (p ResponsePlot) levels() (levels, error) {
	l := levels{what: "Response", yLabel: "gain, dB", heading: p.Heading, curves: p.Curves, masks: p.Masks, phase: p.Phase, spanDB: 6}
	for _, c := range p.Curves {
		l.names = append(l.names, outputName(c))
	}
	if p.RelativeToHz > 0 {
		shifted, taken, err := relative(p.Curves, p.RelativeToHz)
		if err != nil {
			return levels{}, err
		}
		l.curves = shifted
		l.yLabel = "gain relative to " + hertz(p.RelativeToHz) + ", dB"
		for i, level := range taken {
			l.names[i] += fmt.Sprintf(" (%s dB at %s)", signed(toPlace(level, -2), "dB"), hertz(p.RelativeToHz))
		}
	}
	return l, nil
}

// SaveSplit is like SaveResponse for split.svg and split.png.
func SaveSplit(dir string, p SplitPlot) ([]string, error) {
	l := levels{what: "Split difference", yLabel: "level difference, dB", heading: p.Heading, curves: p.Curves, masks: p.Masks, spanDB: 1, zero: true}
	for _, c := range p.Curves {
		l.names = append(l.names, differenceName(c))
	}
	return l.save(dir, "split")
}

// levels draws curves in decibels against their limits.
type levels struct {
	what, yLabel string
	heading      Heading
	curves       []analysis.Curve
	masks        []Mask
	phase        bool
	// spanDB is the least range of the axis, so that nothing looks dramatic
	// that is not.
	spanDB float64
	// names are the curves' names in the legend.
	names []string
	// zero draws the line of no difference.
	zero bool
}

func (l levels) save(dir, name string) ([]string, error) {
	if err := drawable(l.curves); err != nil {
		return nil, fmt.Errorf("plot %s: %w", name, err)
	}
	if l.heading.Name != "" {
		name = l.heading.Name
	}
	return save(dir, name, l.paint)
}

func (l levels) paint(c draw.Canvas) {
	c = drawHeading(c, l.what, l.heading)
	top := topHz(l.curves)
	y := l.extent()
	p := panel(top, l.yLabel, y, stepFor(y.hi-y.lo, 9))
	traces := l.traces(func(c analysis.Curve) ([]float64, []float64) { return c.Value, c.Uncertainty })
	c = drawNotes(drawLegend(c, l.legend(p, traces, c)), l.curves)
	if l.phase {
		p.X.Label.Text = ""
		below := c
		c.Min.Y += (c.Max.Y - c.Min.Y) * 0.36
		below.Max.Y = c.Min.Y - 6
		phase := l.phasePanel(top)
		ahead := phase.DataCanvas(below).Min.X - p.DataCanvas(c).Min.X
		c.Min.X += max(ahead, 0)
		below.Min.X += max(-ahead, 0)
		l.drawPhase(below, phase)
	}
	p.Draw(c)
	l.drawData(p.DataCanvas(c), p, traces)
}

func (l levels) extent() extent {
	e := emptyExtent()
	for _, c := range l.curves {
		e.curve(c, c.Value)
	}
	if l.zero {
		e.add(0)
	}
	for _, m := range l.masks {
		e.add(m.Min...)
		e.add(m.Max...)
	}
	return e.padded(l.spanDB, deepestDB)
}

func (l levels) traces(of func(analysis.Curve) (values, uncertainty []float64)) []trace {
	var traces []trace
	for i, c := range l.curves {
		v, u := of(c)
		traces = append(traces, newTrace(c, v, u, inkOf(i), i))
	}
	return traces
}

func (l levels) legend(p *plot.Plot, traces []trace, c draw.Canvas) []entry {
	var entries []entry
	for i, name := range l.names {
		entries = append(entries, lineEntry(name, inkOf(i)))
	}
	for _, t := range traces {
		if t.bandShows(p.DataCanvas(c), p) {
			entries = append(entries, bandEntry(t.ink))
			break
		}
	}
	for _, t := range traces {
		if slices.Contains(t.bound, true) {
			entries = append(entries, boundEntry(t.ink))
			break
		}
	}
	if len(l.masks) > 0 {
		entries = append(entries, maskEntry())
	}
	return entries
}

// drawData draws what lies behind first: limits, bands, lines, labels.
func (l levels) drawData(c draw.Canvas, p *plot.Plot, traces []trace) {
	var edges []edge
	for _, m := range l.masks {
		edges = append(edges, m.edges(c, p)...)
	}
	for _, e := range edges {
		e.draw(c)
	}
	if l.zero {
		_, y := p.Transforms(&c)
		c.StrokeLine2(draw.LineStyle{Color: dark, Width: 0.9}, c.Min.X, y(0), c.Max.X, y(0))
	}
	for _, e := range edges {
		e.drawLine(c)
	}
	drawTraces(c, p, traces)
	var lines [][]vg.Point
	for _, t := range traces {
		lines = append(lines, t.runs(c, p, 0)...)
	}
	var taken []vg.Rectangle
	for i, e := range edges {
		all := slices.Clone(lines)
		for k, other := range edges {
			if k != i {
				all = append(all, other.pts)
			}
		}
		box, ok := e.labelBox(c, taken, all)
		if !ok {
			box, ok = e.labelBox(c, taken, lines)
		}
		if ok {
			e.drawLabel(c, box)
			taken = append(taken, box)
		}
	}
	frame(c)
}

// drawTraces draws all bands before any line.
func drawTraces(c draw.Canvas, p *plot.Plot, traces []trace) {
	for _, t := range traces {
		t.drawBand(c, p)
	}
	for _, t := range traces {
		t.Plot(c, p)
	}
}

func (l levels) phasePanel(top float64) *plot.Plot {
	e := emptyExtent()
	for _, curve := range l.curves {
		e.curve(curve, curve.PhaseDeg)
	}
	y := e.padded(60, 720)
	return panel(top, "phase, degrees", y, degreeTicks(y.hi-y.lo))
}

func (l levels) drawPhase(c draw.Canvas, p *plot.Plot) {
	p.Draw(c)
	data := p.DataCanvas(c)
	traces := l.traces(func(c analysis.Curve) ([]float64, []float64) { return c.PhaseDeg, c.PhaseUncertaintyDeg })
	for i := range traces {
		traces[i] = traces[i].only(false) // under the noise there is no phase
	}
	drawTraces(data, p, traces)
	frame(data)
}

func degreeTicks(span float64) evenTicks {
	for _, t := range []evenTicks{{20, 2}, {45, 3}, {90, 2}} {
		if span/t.step <= 5 {
			return t
		}
	}
	return evenTicks{180, 2}
}

func outputName(c analysis.Curve) string {
	name := "output " + oneLine(c.Output)
	if c.Output == "" {
		name = quantityWords(analysis.Reading{Quantity: c.Quantity})
	}
	return withState(name, c.State)
}

func differenceName(c analysis.Curve) string {
	return withState(oneLine(c.Output)+" − "+oneLine(c.Reference), c.State)
}

func withState(name, state string) string {
	if state == "" {
		return name
	}
	return name + ", " + oneLine(state)
}

// drawable reports why curves cannot be drawn.
func drawable(curves []analysis.Curve) error {
	if len(curves) == 0 {
		return errors.New("there is no curve to draw")
	}
	for _, c := range curves {
		points := 0
		for i := range min(len(c.FrequencyHz), len(c.Value)) {
			if onPaper(c.FrequencyHz[i], c.Value[i]) {
				points++
			}
		}
		if points < 2 {
			return fmt.Errorf("the curve of %s has fewer than two points", outputName(c))
		}
	}
	return nil
}
