package sheet

// section sets a headed table.
func (p *paper) section(s section) {
	p.title(s.Title)
	for _, text := range s.Text {
		p.para(small, side, p.width(), text)
		p.y += 0.6
	}
	if len(s.Rows) > 0 {
		p.tableHead(s)
	}
	for _, r := range s.Rows {
		p.tableRow(s, r)
	}
	p.y += 6
}

func (p *paper) tableHead(s section) {
	p.y++
	p.cells(s, style{"B", tableRow.points, quiet}, s.Heads, "")
	p.y += 0.4
	p.rule(side, p.y, p.width())
	p.y += 0.8
}

func (p *paper) tableRow(s section, r row) {
	below := p.width()*0.96 - 4
	h := p.cellsHeight(s, r.Cells)
	for _, text := range r.Below {
		h += float64(len(p.lines(tiny, below, text))) * tiny.line()
	}
	if p.y+h > p.h-bottom {
		p.newPage()
		p.tableHead(s)
	}
	p.cells(s, tableRow, r.Cells, r.Tone)
	for _, text := range r.Below {
		p.para(tiny, side+4, below, text)
	}
	p.y += 0.7
}

// cells sets one row side by side, each cell wrapped in its column.
func (p *paper) cells(s section, st style, cells []string, tone string) {
	height := p.cellsHeight(s, cells)
	x := side
	for i, text := range cells {
		w := p.width() * s.Widths[i]
		own := st
		if i == len(cells)-1 && tone != "" {
			own.weight, own.ink = "B", tones[tone]
		}
		y := p.y
		for _, line := range p.lines(own, w-2, text) {
			at := x
			if s.Right[i] {
				at = x + w - 2
			}
			p.text(own, at, y, s.Right[i], line)
			y += own.line()
		}
		x += w
	}
	p.y += height
}

// cellsHeight is of the tallest cell, as bold as any may be.
func (p *paper) cellsHeight(s section, cells []string) float64 {
	most := 1
	for i, text := range cells {
		most = max(most, len(p.lines(style{"B", tableRow.points, ink}, p.width()*s.Widths[i]-2, text)))
	}
	return float64(most) * tableRow.line()
}
