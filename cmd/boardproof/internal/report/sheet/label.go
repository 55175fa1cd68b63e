package sheet

import (
	"fmt"
	"image/color"
	"strings"
	"time"

	"github.com/boombuler/barcode/qr"

	"boardproof/cmd/boardproof/internal/report"
)

// A label's size in millimetres, by its kind.
var labelSizes = map[Kind][2]float64{Label62: {62, 29}, Label24: {24, 50}}

// labelPDF sets a label: what the board is, how it came out, and the run's
// identity as a QR code.
func labelPDF(s Source, o Options, data []byte) ([]byte, error) {
	size := labelSizes[o.Kind]
	p, err := newPaper(size[0], size[1], "Label: "+report.OneLine(s.Run.BoardAsWas.Label), s, data)
	if err != nil {
		return nil, err
	}
	p.newPage()
	if o.Kind == Label62 {
		err = p.wideLabel(s, o)
	} else {
		err = p.narrowLabel(s, o)
	}
	if err != nil {
		return nil, err
	}
	return p.bytes()
}

// labelLines are the lines of a label beside its board's name.
func labelLines(s Source, o Options) (serial, verdict, date string) {
	if serial = report.OneLine(s.Run.BoardAsWas.Serial); serial != "" {
		serial = "S/N" + string(noBreak) + serial
	}
	return serial, outcomeOf(s).Word, s.Run.Finished.In(time.FixedZone(o.Zone, o.OffsetS)).Format("2006-01-02")
}

func (p *paper) wideLabel(s Source, o Options) error {
	const edge, code = 1.5, 26.0
	if err := p.qr(s.Identity(), edge-0.5, edge, code); err != nil {
		return err
	}
	x := edge + code + 1
	room := p.w - x - edge
	serial, verdict, date := labelLines(s, o)
	p.y = 2.2
	if s.Run.Simulated {
		p.stamp(x, room)
	}
	p.stack(x, room, []labelLine{
		{style{"B", 11, black}, 7.5, report.OneLine(s.Run.BoardAsWas.Label), 2},
		{style{"", 8, black}, 5.5, serial, 2},
		{style{"B", 9, black}, 6.5, verdict, 1},
		{style{"", 8, black}, 6, date, 1},
		{style{"", 6, black}, 5, s.Run.ID, 1},
	})
	return nil
}

func (p *paper) narrowLabel(s Source, o Options) error {
	const edge, code = 1.2, 22.6
	if err := p.qr(s.Identity(), (p.w-code)/2, 0.7, code); err != nil {
		return err
	}
	p.y = code + 0.8
	room := p.w - 2*edge
	serial, verdict, date := labelLines(s, o)
	if s.Run.Simulated {
		p.stamp(edge, room)
	}
	p.stack(edge, room, []labelLine{
		{style{"B", 8.5, black}, 6.5, report.OneLine(s.Run.BoardAsWas.Label), 2},
		{style{"", 7, black}, 5, serial, 3},
		{style{"B", 7.5, black}, 5, verdict, 1},
		{style{"", 7, black}, 5.5, date, 1},
		{style{"", 5.5, black}, 4.5, s.Run.ID, 1},
	})
	return nil
}

// stamp says loudly that no real board was measured.
func (p *paper) stamp(x, width float64) {
	s := style{"B", 7, white}
	p.fill(black)
	p.pdf.Rect(x, p.y, width, s.line()+0.5, "F")
	p.use(s)
	p.text(s, x+(width-p.pdf.GetStringWidth("SIMULATED"))/2, p.y+0.3, false, "SIMULATED")
	p.y += s.line() + 1.1
}

// labelLine is text on a label: as large as style, down to least points, in so
// many lines at most. None is left out.
type labelLine struct {
	style style
	least float64
	text  string
	most  int
}

// labelEdge is the white at the bottom, in millimetres.
const labelEdge = 0.8

// stack sets lines under each other, all a little smaller where the label would be
// too low for them.
func (p *paper) stack(x, room float64, lines []labelLine) {
	scale := 1.0
	for ; scale > 0.5; scale -= 0.05 {
		height := 0.0
		for _, l := range lines {
			s, text := p.fitted(l, scale, room)
			height += float64(len(text)) * s.line() * 0.95
		}
		if p.y+height <= p.h-labelEdge {
			break
		}
	}
	for _, l := range lines {
		s, text := p.fitted(l, scale, room)
		for _, line := range text {
			p.text(s, x, p.y, false, line)
			p.y += s.line() * 0.95
		}
	}
}

// fitted breaks a line's text in the largest letters in which it fits; what does
// not fit in the least is cut with an ellipsis.
func (p *paper) fitted(l labelLine, scale, room float64) (style, []string) {
	s := l.style
	s.points *= scale
	for s.points > l.least*scale && len(p.lines(s, room, l.text)) > l.most {
		s.points -= 0.25
	}
	lines := p.lines(s, room, l.text)
	if len(lines) > l.most {
		lines = append(lines[:l.most-1], p.shortened(s, room, strings.Join(lines[l.most-1:], " ")))
	}
	return s, lines
}

// quietModules is the white around a QR code: ISO/IEC 18004 asks for four.
const quietModules = 4

// qr draws a QR code with its white edge into a square. Level M mends 15 % of
// it.
func (p *paper) qr(text string, x, y, size float64) error {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return fmt.Errorf("making the QR code: %w", err)
	}
	n := code.Bounds().Dx()
	module := size / float64(n+2*quietModules)
	p.pdf.SetFillColor(0, 0, 0)
	for row := range n {
		for from := 0; from < n; from++ {
			to := from
			for to < n && isBlack(code.At(to, row)) {
				to++
			}
			if to > from {
				p.pdf.Rect(x+float64(quietModules+from)*module, y+float64(quietModules+row)*module, float64(to-from)*module, module, "F")
				from = to
			}
		}
	}
	return nil
}

func isBlack(c color.Color) bool { return color.GrayModel.Convert(c).(color.Gray).Y < 0x80 }
