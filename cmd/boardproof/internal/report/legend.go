package report

import (
	"boardproof/analysis"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// entry is one thing in the legend and how its sample is drawn.
type entry struct {
	label  string
	sample func(c draw.Canvas)
}

const (
	sampleWidth  = vg.Length(40)
	sampleHeight = vg.Length(11)
	// otherLetters is how much wider the letters are that a browser takes where it has
	// none like ours.
	otherLetters = 1.25
)

func lineEntry(label string, in ink) entry {
	return entry{label, func(c draw.Canvas) {
		mid := c.Center()
		c.StrokeLine2(in.line, c.Min.X, mid.Y, c.Max.X, mid.Y)
		if in.marker.Shape != nil {
			c.DrawGlyphNoClip(in.marker, mid)
		}
	}}
}

func bandEntry(in ink) entry {
	return entry{"± uncertainty (k = 2)", func(c draw.Canvas) {
		c.SetColor(bandColor(in.line.Color))
		c.Fill(c.Rectangle.Path())
		c.StrokeLine2(in.line, c.Min.X, c.Center().Y, c.Max.X, c.Center().Y)
	}}
}

func boundEntry(in ink) entry {
	return entry{"under the noise: a bound", func(c draw.Canvas) {
		c.StrokeLine2(boundLine(in), c.Min.X, c.Center().Y, c.Max.X, c.Center().Y)
	}}
}

func maskEntry() entry {
	return entry{"beyond the limit", func(c draw.Canvas) {
		c.SetColor(beyond)
		c.Fill(c.Rectangle.Path())
		drawHatch(c, c.Rectangle, func(x, y vg.Length) bool { return true })
		frame(c)
	}}
}

// drawLegend sets the entries in rows at the top of c and returns what is left
// below.
func drawLegend(c draw.Canvas, entries []entry) draw.Canvas {
	sty := letters(legendSize, black)
	sty.YAlign = draw.YCenter
	x, y := c.Min.X, c.Max.Y-sampleHeight
	for _, e := range entries {
		label := shorten(sty, e.label, c.Max.X-c.Min.X-sampleWidth-5)
		w := sampleWidth + 5 + otherLetters*sty.Width(label)
		if x > c.Min.X && x+w > c.Max.X {
			x, y = c.Min.X, y-sampleHeight-5
		}
		box := c
		box.Rectangle = vg.Rectangle{Min: vg.Point{X: x, Y: y}, Max: vg.Point{X: x + sampleWidth, Y: y + sampleHeight}}
		e.sample(box)
		c.FillText(sty, vg.Point{X: x + sampleWidth + 5, Y: y + sampleHeight/2 + 1}, label)
		x += w + 8
	}
	c.Max.Y = y - 8
	return c
}

// drawNotes writes what qualifies the curves, each note once, and returns what
// is left below.
func drawNotes(c draw.Canvas, curves []analysis.Curve) draw.Canvas {
	sty := letters(smallSize, dark)
	sty.YAlign = draw.YTop
	said := map[string]bool{}
	for _, curve := range curves {
		note := oneLine(curve.Note)
		if note == "" || said[note] {
			continue
		}
		said[note] = true
		c.FillText(sty, vg.Point{X: c.Min.X, Y: c.Max.Y + 3}, shorten(sty, "note: "+note, c.Max.X-c.Min.X))
		c.Max.Y -= sty.Height(note) + 2
	}
	return c
}
