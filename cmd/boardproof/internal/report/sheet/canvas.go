package sheet

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"

	"codeberg.org/go-pdf/fpdf"
	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// canvas lets a plot be drawn on a page, as vectors and letters: Gonum's own
// canvas for PDF makes a file of its own for each plot.
type canvas struct {
	pdf       *fpdf.Fpdf
	printable func(string) string
	now       state
	stack     []state
	images    int
}

var _ vg.Canvas = (*canvas)(nil)

type state struct {
	at     affine
	color  color.Color
	width  vg.Length
	dashes []vg.Length
	offset vg.Length
}

// affine maps (x, y) of the plot, in points and upwards, to the page, in
// millimetres and downwards: (a·x + c·y + e, b·x + d·y + f).
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) then(n affine) affine {
	return affine{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

func (m affine) at(x, y float64) (float64, float64) {
	return m.a*x + m.c*y + m.e, m.b*x + m.d*y + m.f
}

// size is by what lengths grow.
func (m affine) size() float64 { return math.Sqrt(math.Abs(m.a*m.d - m.b*m.c)) }

// newCanvas has its origin at the left and bottom edge on the page, in mm, and
// is scaled by mm a point.
func newCanvas(pdf *fpdf.Fpdf, printable func(string) string, left, bottom, scale float64) *canvas {
	c := &canvas{pdf: pdf, printable: printable, now: state{at: affine{scale, 0, 0, -scale, left, bottom}, color: color.Black}}
	vg.Initialize(c)
	return c
}

func (c *canvas) SetLineWidth(w vg.Length) { c.now.width = w }
func (c *canvas) SetLineDash(dashes []vg.Length, at vg.Length) {
	c.now.dashes, c.now.offset = dashes, at
}
func (c *canvas) SetColor(clr color.Color) { c.now.color = clr }
func (c *canvas) Translate(p vg.Point) {
	c.now.at = c.now.at.then(affine{1, 0, 0, 1, float64(p.X), float64(p.Y)})
}
func (c *canvas) Scale(x, y float64) { c.now.at = c.now.at.then(affine{x, 0, 0, y, 0, 0}) }
func (c *canvas) Rotate(radians float64) {
	sin, cos := math.Sincos(radians)
	c.now.at = c.now.at.then(affine{cos, sin, -sin, cos, 0, 0})
}
func (c *canvas) Push() { c.stack = append(c.stack, c.now) }
func (c *canvas) Pop() {
	c.now = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

// ink sets colour and transparency, and returns what undoes the latter.
func (c *canvas) ink() (opaque func()) {
	clr := c.now.color
	if clr == nil {
		clr = color.Black
	}
	n := color.NRGBAModel.Convert(clr).(color.NRGBA)
	r, g, b := int(n.R), int(n.G), int(n.B)
	c.pdf.SetDrawColor(r, g, b)
	c.pdf.SetFillColor(r, g, b)
	c.pdf.SetTextColor(r, g, b)
	if n.A == 0xff {
		return func() {}
	}
	c.pdf.SetAlpha(float64(n.A)/0xff, "Normal")
	return func() { c.pdf.SetAlpha(1, "Normal") }
}

func (c *canvas) Stroke(p vg.Path) {
	if c.now.width <= 0 {
		return
	}
	defer c.ink()()
	size := c.now.at.size()
	c.pdf.SetLineWidth(float64(c.now.width) * size)
	dashes := make([]float64, len(c.now.dashes))
	for i, d := range c.now.dashes {
		dashes[i] = float64(d) * size
	}
	c.pdf.SetDashPattern(dashes, float64(c.now.offset)*size)
	c.path(p)
	c.pdf.DrawPath("D")
	c.pdf.SetDashPattern(nil, 0)
}

func (c *canvas) Fill(p vg.Path) {
	defer c.ink()()
	c.path(p)
	c.pdf.DrawPath("F")
}

func (c *canvas) path(p vg.Path) {
	to := func(pt vg.Point) (float64, float64) { return c.now.at.at(float64(pt.X), float64(pt.Y)) }
	for _, s := range p {
		switch s.Type {
		case vg.MoveComp:
			c.pdf.MoveTo(to(s.Pos))
		case vg.LineComp:
			c.pdf.LineTo(to(s.Pos))
		case vg.ArcComp:
			c.arc(s)
		case vg.CurveComp:
			x, y := to(s.Pos)
			ax, ay := to(s.Control[0])
			if len(s.Control) == 1 {
				c.pdf.CurveTo(ax, ay, x, y)
				continue
			}
			bx, by := to(s.Control[1])
			c.pdf.CurveBezierCubicTo(ax, ay, bx, by, x, y)
		case vg.CloseComp:
			c.pdf.ClosePath()
		}
	}
}

// arc is drawn as chords of 6°: of a marker's circle nobody sees them.
func (c *canvas) arc(s vg.PathComp) {
	n := max(1, int(math.Ceil(math.Abs(s.Angle)/(math.Pi/30))))
	for i := range n + 1 {
		sin, cos := math.Sincos(s.Start + s.Angle*float64(i)/float64(n))
		c.pdf.LineTo(c.now.at.at(float64(s.Pos.X)+float64(s.Radius)*cos, float64(s.Pos.Y)+float64(s.Radius)*sin))
	}
}

func (c *canvas) FillString(f font.Face, pt vg.Point, text string) {
	defer c.ink()()
	style := ""
	if f.Font.Weight == xfont.WeightBold {
		style = "B"
	}
	// Fonts are measured in points, of which 72 make 25.4 mm.
	c.pdf.SetFont(fontName, style, float64(f.Font.Size)*c.now.at.size()*72/25.4)
	x, y := c.now.at.at(float64(pt.X), float64(pt.Y))
	degrees := math.Atan2(-c.now.at.b, c.now.at.a) * 180 / math.Pi
	if math.Abs(degrees) < 1e-9 {
		c.pdf.Text(x, y, c.printable(text))
		return
	}
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(degrees, x, y)
	c.pdf.Text(x, y, c.printable(text))
	c.pdf.TransformEnd()
}

// DrawImage draws an upright image; the plots have none.
func (c *canvas) DrawImage(r vg.Rectangle, img image.Image) {
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		c.pdf.SetError(err)
		return
	}
	c.images++
	name := fmt.Sprintf("plot image %d", c.images)
	options := fpdf.ImageOptions{ImageType: "png"}
	c.pdf.RegisterImageOptionsReader(name, options, &b)
	left, bottom := c.now.at.at(float64(r.Min.X), float64(r.Min.Y))
	right, top := c.now.at.at(float64(r.Max.X), float64(r.Max.Y))
	c.pdf.ImageOptions(name, left, top, right-left, bottom-top, false, options, 0, "")
}
