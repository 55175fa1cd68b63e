package report

import (
	"fmt"

	"boardproof/analysis"
	"boardproof/analysis/change"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// DifferencePlot shows a curve then and now, and below their difference with
// its uncertainty.
type DifferencePlot struct {
	Heading
	Change change.CurveChange
	// Then and Now are the names of the two runs.
	Then, Now string
}

// SaveDifference writes Name's files (compare.svg and compare.png by default)
// into dir, which must exist, and returns their paths.
func SaveDifference(dir string, p DifferencePlot) ([]string, error) {
	name := p.Name
	if name == "" {
		name = "compare"
	}
	if err := drawable([]analysis.Curve{p.then(), p.now()}); err != nil {
		return nil, fmt.Errorf("plot %s: %w", name, err)
	}
	return save(dir, name, p.paint)
}

func (p DifferencePlot) curve(values, u []float64) analysis.Curve {
	c := p.Change
	return analysis.Curve{Quantity: c.Quantity, Output: c.Output, Reference: c.Reference, State: c.State, Unit: c.Unit,
		FrequencyHz: c.FrequencyHz, Value: values, Uncertainty: u}
}

func (p DifferencePlot) then() analysis.Curve { return p.curve(p.Change.Before, nil) }
func (p DifferencePlot) now() analysis.Curve  { return p.curve(p.Change.After, nil) }
func (p DifferencePlot) difference() analysis.Curve {
	return p.curve(p.Change.Difference, p.Change.Uncertainty)
}

// differenceInk is unlike those of the two curves above it.
const differenceInk = 3

func (p DifferencePlot) paint(c draw.Canvas) {
	what, label := "Response then and now", "gain, dB"
	if p.Change.Quantity == analysis.SplitDifference {
		what, label = "Split difference then and now", "level difference, dB"
	}
	c = drawHeading(c, what, p.Heading)
	then, now, difference := p.then(), p.now(), p.difference()
	top := topHz([]analysis.Curve{then})
	upper := p.upper(then, now, top, label)
	lower, moved := p.lower(difference, top)
	entries := []entry{lineEntry("then: "+oneLine(p.Then), inkOf(0)), lineEntry("now: "+oneLine(p.Now), inkOf(1)),
		lineEntry("difference, now − then", moved.ink), bandEntry(moved.ink)}
	c = drawLegend(c, entries)
	below := c
	c.Min.Y += (c.Max.Y - c.Min.Y) * 0.46
	below.Max.Y = c.Min.Y - 6
	upper.X.Label.Text = ""
	ahead := lower.DataCanvas(below).Min.X - upper.DataCanvas(c).Min.X
	c.Min.X += max(ahead, 0)
	below.Min.X += max(-ahead, 0)
	upper.Draw(c)
	data := upper.DataCanvas(c)
	drawTraces(data, upper, []trace{newTrace(then, then.Value, nil, inkOf(0), 0), newTrace(now, now.Value, nil, inkOf(1), 1)})
	frame(data)
	lower.Draw(below)
	data = lower.DataCanvas(below)
	drawZero(data, lower)
	drawTraces(data, lower, []trace{moved})
	frame(data)
}

func (p DifferencePlot) upper(then, now analysis.Curve, top float64, label string) *plot.Plot {
	e := emptyExtent()
	e.curve(then, then.Value)
	e.curve(now, now.Value)
	y := e.padded(6, deepestDB)
	return panel(top, label, y, stepFor(y.hi-y.lo, 6))
}

// lower is the panel of the difference, at least 0.2 dB high, so that nothing
// looks dramatic that is not.
func (p DifferencePlot) lower(difference analysis.Curve, top float64) (*plot.Plot, trace) {
	e := emptyExtent()
	e.curve(difference, difference.Value)
	e.add(0)
	y := e.padded(0.2, deepestDB)
	return panel(top, "now − then, dB", y, stepFor(y.hi-y.lo, 6)), newTrace(difference, difference.Value, difference.Uncertainty, inkOf(differenceInk), 0)
}

func drawZero(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	c.StrokeLines(draw.LineStyle{Color: dark, Width: 0.9}, []vg.Point{{X: c.Min.X, Y: y(0)}, {X: c.Max.X, Y: y(0)}})
}
