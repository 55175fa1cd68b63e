package report

import (
	"bytes"
	"fmt"
	"image/png"
	"path/filepath"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// A plot is 600 × 400 points; at 144 to the inch that is 1200 × 800 pixels.
const (
	pageWidth  = vg.Length(600)
	pageHeight = vg.Length(400)
	pageDPI    = 144
)

// Heading says on each plot what it shows.
type Heading struct {
	Board, Run, Step string
	// Date is shown in the local time zone.
	Date      time.Time
	Simulated bool
	// Name is the stem of the files, where it is not to be the default.
	Name string
	// Bare leaves the heading out: what is around the plot says it.
	Bare bool
}

// save draws once for each format and writes both files or none.
func save(dir, name string, paint func(draw.Canvas)) ([]string, error) {
	svg, pixels, err := encode(paint)
	if err != nil {
		return nil, err
	}
	paths := []string{filepath.Join(dir, name+".svg"), filepath.Join(dir, name+".png")}
	for _, p := range paths {
		if err := mayReplace(p); err != nil {
			return nil, fmt.Errorf("write plot: %w", err)
		}
	}
	if err := Replace(paths, [][]byte{svg, pixels}); err != nil {
		return nil, fmt.Errorf("write plot: %w", err)
	}
	return paths, nil
}

func encode(paint func(draw.Canvas)) (svg, pixels []byte, err error) {
	if svg, err = SVG(paint, pageWidth, pageHeight); err != nil {
		return nil, nil, err
	}
	var b bytes.Buffer
	raster := vgimg.NewWith(vgimg.UseWH(pageWidth, pageHeight), vgimg.UseDPI(pageDPI))
	paint(draw.New(raster))
	// Half of a plot's time goes into packing it tighter.
	pack := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := pack.Encode(&b, raster.Image()); err != nil {
		return nil, nil, fmt.Errorf("encode plot as PNG: %w", err)
	}
	return signedSVG(svg), signedPNG(b.Bytes()), nil
}

// SVG draws on a picture of a width and height in points.
func SVG(paint func(draw.Canvas), width, height vg.Length) ([]byte, error) {
	var b bytes.Buffer
	vector := vgsvg.New(width, height)
	paint(draw.New(vector))
	if _, err := vector.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("encode plot as SVG: %w", err)
	}
	// The fonts named behind have the same widths, for readers without the first.
	return bytes.ReplaceAll(b.Bytes(), []byte("font-family:Liberation Sans;"),
		[]byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif;")), nil
}

// drawHeading writes title, date and run at the top of the page and returns
// what is left below.
func drawHeading(c draw.Canvas, what string, h Heading) draw.Canvas {
	if h.Bare {
		return draw.Crop(c, 2, -4, 4, -2)
	}
	c = draw.Crop(c, 10, -14, 6, -8)
	right := c.Max.X
	if h.Simulated {
		right = drawStamp(c, "SIMULATED") - 10
	}
	title := boldLetters(titleSize, black)
	title.YAlign = draw.YTop
	c.FillText(title, vg.Point{X: c.Min.X, Y: c.Max.Y}, shorten(title, oneLine(what+": "+h.Board), right-c.Min.X))
	c.Max.Y -= title.Height("X") + 3
	sub := letters(smallSize, dark)
	sub.YAlign = draw.YTop
	line := h.Date.Local().Format("2006-01-02 15:04")
	if h.Run != "" {
		line += "  ·  run " + oneLine(h.Run)
	}
	if h.Step != "" {
		line += "  ·  " + oneLine(h.Step)
	}
	c.FillText(sub, vg.Point{X: c.Min.X, Y: c.Max.Y}, shorten(sub, line, right-c.Min.X))
	c.Max.Y -= sub.Height("X") + 5
	return c
}

// drawStamp frames a word in the upper right corner and returns its left edge.
func drawStamp(c draw.Canvas, word string) vg.Length {
	sty := boldLetters(legendSize, black)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	w, h := sty.Width(word)+14, sty.Height(word)+8
	left, bottom := c.Max.X-w, c.Max.Y-h
	c.StrokeLines(draw.LineStyle{Color: black, Width: 1.4}, []vg.Point{
		{X: left, Y: bottom}, {X: c.Max.X, Y: bottom}, {X: c.Max.X, Y: c.Max.Y}, {X: left, Y: c.Max.Y}, {X: left, Y: bottom}, {X: c.Max.X, Y: bottom},
	})
	c.FillText(sty, vg.Point{X: left + w/2, Y: bottom + h/2}, word)
	return left
}

// panel is a plot with a logarithmic frequency axis.
func panel(top float64, yLabel string, y extent, ticks plot.Ticker) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Scale, p.X.Tick.Marker = plot.LogScale{}, frequencyTicks{}
	p.X.Min, p.X.Max = lowestHz, top
	p.Y.Min, p.Y.Max = y.lo, y.hi
	p.Y.Tick.Marker = ticks
	p.X.Label.Text, p.Y.Label.Text = "frequency, Hz", yLabel
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		l, t := a.Label.TextStyle, a.Tick.Label
		l.Font, t.Font = letters(labelSize, black).Font, letters(smallSize+0.5, black).Font
		a.Label.TextStyle, a.Tick.Label = l, t
		a.Label.Padding, a.Padding = 3, 0
	}
	p.Add(grid{})
	return p
}

// frame closes the box around the data.
func frame(c draw.Canvas) {
	c.StrokeLines(draw.LineStyle{Color: black, Width: 0.8}, []vg.Point{
		c.Min, {X: c.Max.X, Y: c.Min.Y}, c.Max, {X: c.Min.X, Y: c.Max.Y}, c.Min,
	})
}
