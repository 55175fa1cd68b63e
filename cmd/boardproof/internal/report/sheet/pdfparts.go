package sheet

import (
	"fmt"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

func (p *paper) head(c content) {
	k := kicker
	k.ink = p.accent
	p.text(k, side, p.y, false, c.Title)
	if c.Workshop != "" {
		p.text(kicker, p.w-side, p.y, true, p.shortened(kicker, p.width()*0.7, c.Workshop))
	}
	p.y += 5.5
	name := style{"B", 26, ink}
	for name.points > 15 && len(p.lines(name, p.width(), c.Board)) > 1 {
		name.points--
	}
	lines := p.lines(name, p.width(), c.Board)
	if len(lines) > 2 {
		lines = []string{lines[0], p.shortened(name, p.width(), lines[1]+"…")}
	}
	for _, line := range lines {
		p.text(name, side, p.y, false, line)
		p.y += name.line()
	}
	p.y++
	p.para(style{"", 11, quiet}, side, p.width(), c.Whose)
	p.y += 3
}

func (p *paper) outcome(o outcome) {
	word, say := style{"B", 17, white}, style{"", 10, white}
	lines := p.lines(say, p.width()-12, o.Sentence)
	h := 4.2 + word.line() + float64(len(lines))*say.line() + 3
	p.fill(p.accent)
	p.pdf.RoundedRect(side, p.y, p.width(), h, 2, "1234", "F")
	y := p.y + 3.2
	p.text(word, side+6, y, false, o.Word)
	y += word.line() + 0.8
	for _, line := range lines {
		p.text(say, side+6, y, false, line)
		y += say.line()
	}
	p.y += h + 4
}

func (p *paper) attention(c content) {
	list := c.Attention
	if len(list) == 0 {
		return
	}
	more := 0
	if len(c.Bench) == 0 && len(list) > mostAttention {
		more, list = len(list)-mostAttention, list[:mostAttention]
	}
	p.title("Look at this")
	for _, line := range list {
		p.bullet(body, line)
	}
	if more > 0 {
		p.bullet(body, fmt.Sprintf("%d more; the bench copy lists them.", more))
	}
	p.y += 4
}

func (p *paper) bullet(s style, text string) {
	p.need(s.line())
	p.fill(p.accent)
	p.pdf.Circle(side+1.2, p.y+s.line()*0.45, 0.7, "F")
	p.para(s, side+4.5, p.width()-4.5, text)
	p.y += 0.8
}

// title heads what follows, never alone at the foot of a page.
func (p *paper) title(text string) {
	p.need(heading.line() + 14)
	p.text(heading, side, p.y, false, text)
	p.y += heading.line() + 1.5
}

func (p *paper) found(all []found) {
	if len(all) == 0 {
		return
	}
	p.title("What was found")
	for _, f := range all {
		p.foundRow(f)
	}
	p.rule(side, p.y, p.width())
	p.y += 5
}

// foundRow sets a name with its sentence on the left, figures and verdict on
// the right.
func (p *paper) foundRow(f found) {
	const markWidth = 19
	left := p.width() * 0.62
	lines := p.lines(small, left, f.Sentence)
	mark := style{"B", 8, tones[f.Tone]}
	marks := p.lines(mark, markWidth-1, f.Mark)
	h := 2.2 + max(strong.line()+float64(len(lines))*small.line(), float64(len(f.Values))*figure.line(), float64(len(marks))*mark.line())
	p.need(h)
	p.rule(side, p.y, p.width())
	y := p.y + 1.1
	p.text(strong, side, y, false, f.Name)
	for i, line := range lines {
		p.text(small, side, y+strong.line()+float64(i)*small.line(), false, line)
	}
	for i, v := range f.Values {
		p.value(v, p.w-side-markWidth, y+float64(i)*figure.line(), p.width()-left-markWidth-2)
	}
	for i, line := range marks {
		p.text(mark, p.w-side, y+0.6+float64(i)*mark.line(), true, line)
	}
	p.y += h
}

// value sets a figure up to x, whole, and in what is left of the room before it
// which output it is of.
func (p *paper) value(v value, x, y, room float64) {
	p.use(figure)
	taken := p.pdf.GetStringWidth(p.letters.printable(v.Figure)) + 2
	room -= taken
	where := style{"", 9, quiet}
	for where.points > 6.5 && len(p.lines(where, room, v.Where)) > 1 {
		where.points -= 0.25
	}
	p.text(where, x-taken, y+(figure.points-where.points)*perPoint*0.95, true, p.shortened(where, room, v.Where))
	p.text(figure, x, y, true, v.Figure)
}

func (p *paper) chain(devices []device) {
	if len(devices) == 0 {
		return
	}
	// On one page where one page holds it.
	if h := heading.line() + 1.5 + float64(len(devices))*chainRow; h < p.h-top-bottom {
		p.need(h)
	}
	p.title("The chain, from the guitar on")
	for _, d := range devices {
		p.device(d)
	}
	p.y += 4
}

// device sets one line of the chain, or as many as its names need.
func (p *paper) device(d device) {
	w := p.width()
	cells := []struct {
		style    style
		at, wide float64
		text     string
	}{{body, 7, w*0.34 - 9, d.Name}, {body, w * 0.34, w*0.27 - 2, d.Kind}, {small, w * 0.61, w * 0.39, d.Supply}}
	high := 1
	for _, c := range cells {
		high = max(high, len(p.lines(c.style, c.wide, c.text)))
	}
	h := chainRow + float64(high-1)*body.line()
	p.need(h)
	// Smaller letters stand on the same line.
	level := func(s style) float64 { return p.y + (body.points-s.points)*perPoint*0.95 }
	p.text(small, side+4, level(small), true, d.Number)
	for _, c := range cells {
		for i, line := range p.lines(c.style, c.wide, c.text) {
			p.text(c.style, side+c.at, level(c.style)+float64(i)*body.line(), false, line)
		}
	}
	p.y += h
}

func (p *paper) picture(pic picture, height vg.Length) {
	scale := p.width() / float64(plotWidth)
	h := float64(height) * scale
	p.need(h + heading.line() + 10)
	p.title(pic.Title)
	p.y--
	p.para(small, side, p.width(), pic.Caption)
	p.y += 1.5
	c := newCanvas(p.pdf, p.letters.printable, side, p.y+h, scale)
	pic.paint(draw.NewCanvas(c, plotWidth, height))
	p.y += h + 5
}

func (p *paper) remarks(all []remark) {
	for _, r := range all {
		p.need(strong.line() + body.line())
		p.text(strong, side, p.y, false, r.Title)
		p.y += strong.line() + 0.4
		for _, text := range r.Text {
			p.para(small, side, p.width(), text)
		}
		p.y += 2.6
	}
}

func (p *paper) facts(c content) {
	p.need(20)
	p.rule(side, p.y, p.width())
	p.y += 2.2
	for _, f := range c.Facts {
		lines := p.lines(body, p.width()-34, f.Value)
		p.need(float64(len(lines)) * body.line())
		p.text(small, side, p.y, false, f.Name)
		for _, line := range lines {
			p.text(small, side+34, p.y, false, line)
			p.y += small.line()
		}
		p.y += 0.5
	}
	p.y++
	p.para(tiny, side, p.width(), c.Checked)
	if p.letters.lacks(c) {
		p.para(tiny, side, p.width(), "A □ stands for a character that the letters on this paper do not have; the HTML sheet shows it.")
	}
	p.y += 5
}
