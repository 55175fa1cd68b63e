package report

import (
	"strings"

	"github.com/rivo/uniseg"
)

// tableWidth is how many columns a line may take.
const tableWidth = 100

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

// fit sets the widths: each column as wide as its cells up to its cap, the
// first one takes what is left of the line at the most.
func fit(cols []column, rows [][]string) {
	left := tableWidth
	for i := len(cols) - 1; i >= 0; i-- {
		c := &cols[i]
		c.width = uniseg.StringWidth(c.head)
		for _, r := range rows {
			c.width = max(c.width, uniseg.StringWidth(r[i]))
		}
		if i == 0 {
			c.width = min(c.width, left)
			break
		}
		c.width = min(c.width, c.widest)
		left -= c.width + len(gap)
	}
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
