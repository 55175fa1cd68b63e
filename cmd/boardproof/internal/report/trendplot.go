package report

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// TrendPoint is one reading of a trend.
type TrendPoint struct {
	At time.Time
	verdict.Judged
	// Delivered marks the run that the board left with.
	Delivered bool
}

// TrendPlot shows readings over time with their uncertainty.
type TrendPlot struct {
	Heading
	Points []TrendPoint
	// Limit is drawn where not nil; Line where not nil, from the first point to
	// the last; Control are the centre and limits of a control chart, or nothing.
	Limit   *verdict.Limit
	Line    func(at time.Time) float64
	Control []float64
}

// SaveTrend writes Name's files into dir, which must exist, and returns their
// paths.
func SaveTrend(dir string, p TrendPlot) ([]string, error) {
	if len(p.Points) == 0 {
		return nil, fmt.Errorf("plot %s: there is nothing to draw", p.Name)
	}
	return save(dir, p.Name, p.paint)
}

func (p TrendPlot) paint(c draw.Canvas) {
	r := p.Points[0].Reading
	c = drawHeading(c, "Trend of "+What(analysis.Reading{Quantity: r.Quantity, Output: r.Output, Reference: r.Reference, Weighting: r.Weighting, Harmonic: r.Harmonic}), p.Heading)
	c = drawLegend(c, p.legend())
	e := p.extent()
	from, to := p.span()
	pl := panel(1, What(analysis.Reading{Quantity: r.Quantity})+unitInBrackets(r.Unit), e, stepFor(e.hi-e.lo, 8))
	pl.X.Scale, pl.X.Tick.Marker, pl.X.Label.Text = plot.LinearScale{}, dateTicks{}, "date"
	pl.X.Min, pl.X.Max = from, to
	pl.Draw(c)
	data := pl.DataCanvas(c)
	p.drawLevels(data, pl)
	for _, t := range p.Points {
		t.draw(data, pl, p.crowded())
	}
	p.drawFit(data, pl)
	frame(data)
}

func unitInBrackets(unit string) string {
	if unit == "" {
		return ""
	}
	return ", " + oneLine(unit)
}

var (
	limitLine   = draw.LineStyle{Color: black, Width: 1.4}
	fitLine     = draw.LineStyle{Color: color.RGBA{0xb3, 0x59, 0x00, 0xff}, Width: 1.6, Dashes: []vg.Length{9, 4}}
	controlLine = draw.LineStyle{Color: dark, Width: 1, Dashes: []vg.Length{2, 3}}
	readingMark = draw.GlyphStyle{Color: color.RGBA{0x2b, 0x5f, 0x8a, 0xff}, Radius: 3.6, Shape: draw.CircleGlyph{}}
	smallMark   = draw.GlyphStyle{Color: color.RGBA{0x2b, 0x5f, 0x8a, 0xff}, Radius: 1.6, Shape: draw.CircleGlyph{}}
	leftMark    = draw.GlyphStyle{Color: black, Radius: 5.5, Shape: draw.BoxGlyph{}}
	boundMark   = draw.GlyphStyle{Color: dark, Radius: 4, Shape: draw.CrossGlyph{}}
)

// mostBars is how many readings are drawn with their uncertainties: more would
// be one blot.
const mostBars = 150

func (p TrendPlot) crowded() bool { return len(p.Points) > mostBars }

func (p TrendPlot) legend() []entry {
	sample := func(label string, line draw.LineStyle, mark *draw.GlyphStyle) entry {
		return entry{label, func(c draw.Canvas) {
			if line.Width > 0 {
				c.StrokeLine2(line, c.Min.X, c.Center().Y, c.Max.X, c.Center().Y)
			}
			if mark != nil {
				c.DrawGlyphNoClip(*mark, c.Center())
			}
		}}
	}
	none := draw.LineStyle{}
	entries := []entry{sample("reading ± uncertainty (k = 2)", none, &readingMark)}
	if p.crowded() {
		entries = []entry{sample("reading, its uncertainty in the table", none, &smallMark)}
	}
	delivered, bounds := false, false
	for _, t := range p.Points {
		delivered, bounds = delivered || t.Delivered, bounds || t.UpperBound || t.LowerBound
	}
	if delivered {
		entries = append(entries, sample("as delivered", none, &leftMark))
	}
	if bounds {
		entries = append(entries, sample("a bound only", none, &boundMark))
	}
	if p.Line != nil {
		entries = append(entries, sample("straight line", fitLine, nil))
	}
	e := p.extent()
	if slices.ContainsFunc(p.limits(), func(l float64) bool { return l >= e.lo && l <= e.hi }) {
		entries = append(entries, sample("limit", limitLine, nil))
	}
	if len(p.Control) > 0 {
		entries = append(entries, sample("control limits", controlLine, nil))
	}
	return entries
}

// extent shows what is drawn of the readings whole, and a limit where it is not so far off that
// they would shrink to nothing.
func (p TrendPlot) extent() extent {
	e := emptyExtent()
	for _, t := range p.Points {
		if p.crowded() {
			t.Uncertainty = 0
		}
		e.add(t.Value-t.Uncertainty, t.Value+t.Uncertainty)
	}
	e.add(p.Control...)
	height := e.hi - e.lo
	for _, l := range p.limits() {
		if math.Abs(l-e.lo) < 4*height || math.Abs(l-e.hi) < 4*height {
			e.add(l)
		}
	}
	return e.padded(math.Max(1e-3, 1e-3*math.Abs(e.hi)), 1e9)
}

func (p TrendPlot) limits() []float64 {
	var out []float64
	if p.Limit != nil {
		for _, l := range []*float64{p.Limit.Min, p.Limit.Max} {
			if l != nil {
				out = append(out, *l)
			}
		}
	}
	return out
}

// span is from when to when, in seconds since 1970, with room on both sides.
func (p TrendPlot) span() (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, t := range p.Points {
		from, to = math.Min(from, seconds(t.At)), math.Max(to, seconds(t.At))
	}
	room := math.Max(0.05*(to-from), 3600)
	return from - room, to + room
}

func seconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

func (p TrendPlot) drawLevels(c draw.Canvas, pl *plot.Plot) {
	_, y := pl.Transforms(&c)
	level := func(style draw.LineStyle, v float64) {
		if v >= pl.Y.Min && v <= pl.Y.Max {
			c.StrokeLine2(style, c.Min.X, y(v), c.Max.X, y(v))
		}
	}
	for _, l := range p.limits() {
		level(limitLine, l)
	}
	for _, l := range p.Control {
		level(controlLine, l)
	}
}

// drawFit draws the straight line, over the readings.
func (p TrendPlot) drawFit(c draw.Canvas, pl *plot.Plot) {
	if p.Line != nil {
		x, y := pl.Transforms(&c)
		a, b := p.Points[0].At, p.Points[len(p.Points)-1].At
		c.StrokeLines(fitLine, c.ClipLinesXY([]vg.Point{{X: x(seconds(a)), Y: y(p.Line(a))}, {X: x(seconds(b)), Y: y(p.Line(b))}})...)
	}
}

func (t TrendPoint) draw(c draw.Canvas, pl *plot.Plot, crowded bool) {
	x, y := pl.Transforms(&c)
	at := vg.Point{X: x(seconds(t.At)), Y: y(t.Value)}
	if t.UpperBound || t.LowerBound {
		c.DrawGlyph(boundMark, at)
		return
	}
	mark := readingMark
	if crowded {
		mark = smallMark
	}
	if t.Uncertainty > 0 && !crowded {
		bar := draw.LineStyle{Color: readingMark.Color, Width: 1.2}
		low, high := y(t.Value-t.Uncertainty), y(t.Value+t.Uncertainty)
		c.StrokeLine2(bar, at.X, low, at.X, high)
		for _, end := range []vg.Length{low, high} {
			c.StrokeLine2(bar, at.X-3, end, at.X+3, end)
		}
	}
	c.DrawGlyph(mark, at)
	if t.Delivered {
		c.DrawGlyph(leftMark, at)
	}
}

// dateTicks are at days, months or years, whichever give few enough.
type dateTicks struct{}

func (dateTicks) Ticks(lo, hi float64) []plot.Tick {
	from, to := time.Unix(int64(lo), 0), time.Unix(int64(hi), 0)
	const most = 8
	for _, s := range []struct {
		years, months, days int
		layout              string
	}{{0, 0, 1, "01-02"}, {0, 0, 7, "2006-01-02"}, {0, 1, 0, "2006-01"}, {0, 3, 0, "2006-01"}, {1, 0, 0, "2006"}, {5, 0, 0, "2006"}, {20, 0, 0, "2006"}} {
		at := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, time.Local)
		if s.months > 0 || s.years > 0 {
			at = time.Date(from.Year(), time.January, 1, 0, 0, 0, 0, time.Local)
		}
		var ticks []plot.Tick
		for ; !at.After(to) && len(ticks) <= most; at = at.AddDate(s.years, s.months, s.days) {
			if !at.Before(from) {
				ticks = append(ticks, plot.Tick{Value: seconds(at), Label: at.Format(s.layout)})
			}
		}
		if len(ticks) <= most {
			return ticks
		}
	}
	return nil
}
