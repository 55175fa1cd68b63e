package sheet

import (
	"fmt"
	"slices"

	"gonum.org/v1/plot/vg"
)

var paperSizes = map[string][2]float64{A4: {210, 297}, Letter: {215.9, 279.4}}

// The styles of a sheet.
var (
	kicker   = style{"B", 8.5, quiet}
	heading  = style{"B", 12, ink}
	body     = style{"", 9, ink}
	small    = style{"", 8, quiet}
	strong   = style{"B", 10, ink}
	figure   = style{"B", 10.5, ink}
	tiny     = style{"", 7, quiet}
	tableRow = style{"", 7.6, ink}
)

// mostAttention is how many limits a player's sheet lists as not plainly
// passed.
const mostAttention = 8

// mostPages is how long a player's sheet is; plots give way for it.
const mostPages = 2

// sheetPDF sets a sheet with plots as high as the pages allow, or as high as
// can be where none are low enough. Then it sets it once more, as how many
// pages there are is known only after.
func sheetPDF(s Source, o Options, data []byte) ([]byte, error) {
	c := newContent(s, o)
	pages, err := 0, error(nil)
	for _, c.plotHeight = range slices.Concat(plotHeights, plotHeights[:1]) {
		if _, pages, err = typeset(c, s, o, data, 0); err != nil {
			return nil, err
		}
		if pages <= mostPages || o.Kind == Bench {
			break
		}
	}
	file, _, err := typeset(c, s, o, data, pages)
	return file, err
}

// typeset sets a sheet of so many pages and returns how many it came to.
func typeset(c content, s Source, o Options, data []byte, pages int) ([]byte, int, error) {
	size := paperSizes[o.Paper]
	p, err := newPaper(size[0], size[1], c.Title+": "+c.Board, s, data)
	if err != nil {
		return nil, 0, err
	}
	p.accent = tones[c.Outcome.Tone]
	p.begin = func() { p.marks(c) }
	p.end = func() { p.foot(c, pages) }
	p.set(c)
	file, err := p.bytes()
	return file, p.pdf.PageCount(), err
}

func (p *paper) set(c content) {
	p.newPage()
	p.head(c)
	p.outcome(c.Outcome)
	p.attention(c)
	p.found(c.Found)
	p.chain(c.Devices)
	if len(c.Plots) > 0 && p.pdf.PageNo() == 1 {
		p.newPage()
	}
	for _, pic := range c.Plots {
		p.picture(pic, c.plotHeight+pic.strip)
	}
	p.remarks(c.Remarks)
	p.facts(c)
	for _, s := range c.Bench {
		p.section(s)
	}
}

// marks is what each page of a simulated run says loudly.
func (p *paper) marks(c content) {
	if !c.Simulated {
		return
	}
	s := style{"B", 76, rgb{0xf1, 0xf1, 0xf1}}
	p.use(s)
	w := p.pdf.GetStringWidth("SIMULATED")
	x, y := p.w/2, p.h/2
	p.pdf.TransformBegin()
	p.pdf.TransformRotate(52, x, y)
	p.pdf.Text(x-w/2, y+10, "SIMULATED")
	p.pdf.TransformEnd()
	p.fill(ink)
	p.pdf.Rect(0, 0, p.w, 8, "F")
	banner := style{"B", 9.5, white}
	p.text(banner, side, 2.2, false, "SIMULATED: no real board was measured")
}

func (p *paper) fill(c rgb) { p.pdf.SetFillColor(c.r, c.g, c.b) }

func (p *paper) foot(c content, pages int) {
	y := p.h - 11.5
	p.rule(side, y-1.5, p.width())
	page := fmt.Sprintf("page %d of %d", p.pdf.PageNo(), pages)
	p.text(tiny, p.w-side, y, true, page)
	id := c.Identity
	p.text(tiny, side, y, false, id)
	p.use(tiny)
	left := side + p.pdf.GetStringWidth(id) + 1.2
	room := p.w - side - p.pdf.GetStringWidth(page) - 4 - left
	p.text(tiny, left, y, false, p.shortened(tiny, room, "· "+c.Board))
}

// chainRow is the height of a device's line.
const chainRow = 4.4

// plotWidth is that of a plot in points; it is set as wide as the text.
const plotWidth = vg.Length(600)

// plotHeights are tried in turn.
var plotHeights = []vg.Length{250, 225, 205, 190, 175}
