package report

import (
	"slices"
	"strings"

	"github.com/rivo/uniseg"
)

// The widths of a page: where there is no terminal, and what one may have.
const (
	lineWidth  = 100
	narrowest  = 60
	widestPage = 200
)

// tableWidth is how many columns a line may take.
var tableWidth = lineWidth

// FitTo makes lines fit a terminal of so many columns, 0 where there is none;
// it returns the width that they have now. What is printed goes to one terminal,
// so it is said once, before anything is printed.
func FitTo(columns int) int {
	tableWidth = lineWidth
	if columns > 0 {
		tableWidth = min(max(columns, narrowest), widestPage)
	}
	return tableWidth
}

const gap = "  "

// noBreak is a space at which wrap does not break; it comes out as a space.
const noBreak = "\u00a0"

// column is one column of a table; widest caps it, right aligns its cells.
type column struct {
	head   string
	widest int
	right  bool
	width  int
}

// firstLeast is what a narrow page leaves to the names in the first column,
// cellLeast what it leaves to a figure.
const firstLeast, cellLeast = 16, 5

// fit sets the widths: each column as wide as its cells up to its cap, the first
// one takes what is left of the line at the most. On a page too narrow for that
// the widest of the others give way.
func fit(cols []column, rows [][]string) {
	left := tableWidth
	for i := range cols {
		c := &cols[i]
		c.width = uniseg.StringWidth(c.head)
		for _, r := range rows {
			c.width = max(c.width, uniseg.StringWidth(r[i]))
		}
		if i > 0 {
			c.width = min(c.width, c.widest)
			left -= c.width + len(gap)
		}
	}
	for ; len(cols) > 1 && left < min(cols[0].width, firstLeast); left++ {
		widest := slices.MaxFunc(cols[1:], func(a, b column) int { return a.width - b.width })
		if widest.width <= cellLeast {
			break
		}
		i := slices.IndexFunc(cols[1:], func(c column) bool { return c.width == widest.width })
		cols[1+i].width--
	}
	cols[0].width = max(1, min(cols[0].width, left))
}

// layRow lays the cells of one row side by side, wrapped where they must be.
// paint, which may be nil, colours a finished cell.
func layRow(cols []column, cells []string, paint func(col int, s string) string) []string {
	wrapped := make([][]string, len(cols))
	height := 1
	for i, c := range cols {
		wrapped[i] = wrap(cells[i], c.width)
		height = max(height, len(wrapped[i]))
	}
	lines := make([]string, height)
	for n := range lines {
		var b strings.Builder
		for i, c := range cols {
			cell := ""
			if n < len(wrapped[i]) {
				cell = wrapped[i][n]
			}
			pad := strings.Repeat(" ", max(0, c.width-uniseg.StringWidth(cell)))
			if paint != nil && cell != "" {
				cell = paint(i, cell)
			}
			if i > 0 {
				b.WriteString(gap)
			}
			if c.right {
				b.WriteString(pad + cell)
			} else {
				b.WriteString(cell + pad)
			}
		}
		lines[n] = strings.TrimRight(b.String(), " ")
	}
	return lines
}

// paragraph wraps text to the table's width; lines after the first are
// indented under its words.
func paragraph(lead, text string) []string {
	indent := strings.Repeat(" ", uniseg.StringWidth(lead))
	lines := wrap(text, tableWidth-len(indent))
	for i := range lines {
		if i == 0 {
			lines[i] = lead + lines[i]
		} else {
			lines[i] = indent + lines[i]
		}
	}
	return lines
}

// wrap breaks s between words, and within a word only where it is wider than
// the line. It returns at least one line.
func wrap(s string, width int) []string {
	width = max(1, width)
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }) {
		word = strings.ReplaceAll(word, noBreak, " ")
		switch {
		case line == "":
			line = word
		case uniseg.StringWidth(line+" "+word) <= width:
			line += " " + word
			continue
		default:
			lines = append(lines, line)
			line = word
		}
		for uniseg.StringWidth(line) > width {
			head, tail := breakWord(line, width)
			lines = append(lines, head)
			line = tail
		}
	}
	return append(lines, line)
}

// breakWord cuts a word at the last character that still fits, after the first
// one at the earliest.
func breakWord(word string, width int) (head, tail string) {
	rest, state := word, -1
	for rest != "" {
		var cluster string
		cluster, rest, _, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if head != "" && uniseg.StringWidth(head+cluster) > width {
			return head, cluster + rest
		}
		head += cluster
	}
	return head, ""
}
