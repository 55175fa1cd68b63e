package sheet

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// Lengths on the page, in millimetres.
const (
	side   = 18.0
	top    = 15.0
	bottom = 15.0
	// perPoint is one point.
	perPoint = 25.4 / 72
)

type rgb struct{ r, g, b int }

var (
	ink   = rgb{0x1c, 0x1f, 0x22}
	quiet = rgb{0x5a, 0x60, 0x66}
	faint = rgb{0xd9, 0xdc, 0xdf}
	white = rgb{0xff, 0xff, 0xff}
	// black is for printers of labels, which know no other ink.
	black = rgb{}
	// tones say the same as the words beside them.
	tones = map[string]rgb{"good": {0x1d, 0x66, 0x5c}, "bad": {0x9b, 0x2d, 0x20}, "open": {0x7d, 0x54, 0x06}}
)

// paper sets words on pages from the top down.
type paper struct {
	pdf     *fpdf.Fpdf
	letters letters
	accent  rgb
	// w and h are of the page, y is how far down it is filled.
	w, h, y float64
	// begin is done on each new page, end before it is left.
	begin, end func()
}

// newPaper opens a document of pages w by h. Nothing in it depends on when or
// where it is made.
func newPaper(w, h float64, title string, s Source, data []byte) (*paper, error) {
	l, err := newLetters()
	if err != nil {
		return nil, fmt.Errorf("reading the letters: %w", err)
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(s.Run.Finished.UTC().Truncate(time.Second))
	pdf.SetModificationDate(s.Run.Finished.UTC().Truncate(time.Second))
	pdf.SetProducer("boardproof", true)
	pdf.SetTitle(title, true)
	pdf.SetSubject(s.Identity(), true)
	pdf.SetKeywords("run "+s.Run.ID+" sha256 "+s.Digest, true)
	pdf.SetXmpMetadata(xmp(data))
	pdf.AddUTF8FontFromBytes(fontName, "", l.regular)
	pdf.AddUTF8FontFromBytes(fontName, "B", l.bold)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCellMargin(0)
	pdf.SetLineJoinStyle("round")
	return &paper{pdf: pdf, letters: l, w: w, h: h, accent: ink, begin: func() {}, end: func() {}}, nil
}

func (p *paper) bytes() ([]byte, error) {
	p.end()
	var b bytes.Buffer
	if err := p.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("writing the PDF: %w", err)
	}
	return b.Bytes(), nil
}

func (p *paper) newPage() {
	if p.pdf.PageCount() > 0 {
		p.end()
	}
	p.pdf.AddPage()
	p.y = top
	p.begin()
}

// need begins a new page where less than h is left on this one.
func (p *paper) need(h float64) {
	if p.y+h > p.h-bottom {
		p.newPage()
	}
}

// width is of the text between the margins.
func (p *paper) width() float64 { return p.w - 2*side }

// style is how letters look: "" or "B", their size in points and their ink.
type style struct {
	weight string
	points float64
	ink    rgb
}

// line is from one baseline to the next.
func (s style) line() float64 { return s.points * perPoint * 1.32 }

func (p *paper) use(s style) {
	p.pdf.SetFont(fontName, s.weight, s.points)
	p.pdf.SetTextColor(s.ink.r, s.ink.g, s.ink.b)
}

// text writes one line whose top is at y, from x or, with right, up to x.
func (p *paper) text(s style, x, y float64, right bool, text string) {
	p.use(s)
	text = strings.ReplaceAll(p.letters.printable(text), string(noBreak), " ")
	if right {
		x -= p.pdf.GetStringWidth(text)
	}
	p.pdf.Text(x, y+s.points*perPoint*0.95, text)
}

// lines breaks text to a width.
func (p *paper) lines(s style, width float64, text string) []string {
	p.use(s)
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(p.letters.printable(text), func(r rune) bool { return r == ' ' }) {
		if line != "" && p.pdf.GetStringWidth(line+" "+word) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = word
		for p.pdf.GetStringWidth(line) > width {
			n := p.fits(width, line)
			lines = append(lines, line[:n])
			line = line[n:]
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fits is how many bytes of word fit into a width, one letter at the least.
func (p *paper) fits(width float64, word string) int {
	n := 0
	for i, r := range word {
		end := i + len(string(r))
		if n > 0 && p.pdf.GetStringWidth(word[:end]) > width {
			break
		}
		n = end
	}
	return n
}

// para sets text from x down at y and moves on.
func (p *paper) para(s style, x, width float64, text string) {
	for _, line := range p.lines(s, width, text) {
		p.need(s.line())
		p.text(s, x, p.y, false, line)
		p.y += s.line()
	}
}

// shortened cuts text to a width with an ellipsis.
func (p *paper) shortened(s style, width float64, text string) string {
	p.use(s)
	text = p.letters.printable(text)
	if p.pdf.GetStringWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 1 && p.pdf.GetStringWidth(strings.TrimRight(string(runes), " ")+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…"
}

// rule draws a thin line across.
func (p *paper) rule(x, y, width float64) {
	p.pdf.SetDrawColor(faint.r, faint.g, faint.b)
	p.pdf.SetLineWidth(0.2)
	p.pdf.Line(x, y, x+width, y)
}
