package report

import (
	"fmt"
	"io"
	"os"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"golang.org/x/term"
)

// TableOptions says what stands around the rows of a table.
type TableOptions struct {
	// Simulated puts a line above the table that says so.
	Simulated bool
	// Refused is listed beneath, with reasons.
	Refused []analysis.Refusal
	// NoOutcome leaves the outcome out, for [Outcome] to say last.
	NoOutcome bool
	// All shows each row of long lists such as the mains harmonics.
	All bool
}

// Table writes readings for a person: grouped by step, digits as the
// uncertainty allows, the verdict in words, and the outcome of all limits last,
// with what is wrong in plain words. No line is wider than the page. Colour comes on top where w
// is a terminal and NO_COLOR is not set.
func Table(w io.Writer, rows []verdict.Judged, opt TableOptions) error {
	_, err := io.WriteString(w, render(rows, opt, colourful(w)))
	if err != nil {
		return fmt.Errorf("write table of readings: %w", err)
	}
	return nil
}

// Outcome writes the outcome of all limits, and what is wrong in plain words.
func Outcome(w io.Writer, rows []verdict.Judged) error {
	if _, err := io.WriteString(w, strings.Join(outcomeLines(rows), "\n")+"\n"); err != nil {
		return fmt.Errorf("write outcome: %w", err)
	}
	return nil
}

func outcomeLines(rows []verdict.Judged) []string {
	lines := paragraph("", Summary(rows))
	for _, text := range plainWords(rows) {
		lines = append(lines, paragraph("  ", text)...)
	}
	return lines
}

// colourful: https://no-color.org, a NO_COLOR that is not empty wins.
func colourful(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

func render(rows []verdict.Judged, opt TableOptions, colour bool) string {
	var lines []string
	if opt.Simulated {
		lines = append(lines, "SIMULATED: no real board was measured", "")
	}
	if len(rows) > 0 {
		lines = append(lines, body(rows, opt.All, colour)...)
	}
	if len(opt.Refused) > 0 {
		if len(rows) > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, "Could not be measured:")
		for _, text := range refusalLines(opt.Refused) {
			lines = append(lines, paragraph("  ", text)...)
		}
	}
	if len(rows)+len(opt.Refused) > 0 {
		lines = append(lines, "")
	}
	if !opt.NoOutcome {
		lines = append(lines, outcomeLines(rows)...)
	}
	return strings.Join(lines, "\n") + "\n"
}

// body lays out all groups in one set of columns, then their footnotes.
func body(rows []verdict.Judged, all, colour bool) []string {
	var foot footnotes
	groups := grouped(rows, all)
	var cells [][]string
	for g := range groups {
		for _, j := range groups[g].rows {
			c := cellsOf(j, groups[g].state, &foot)
			groups[g].cells = append(groups[g].cells, c)
			cells = append(cells, c)
		}
	}
	cols := columns()
	if !anyLimit(rows) {
		cols = cols[:3]
	}
	fit(cols, cells)
	lines := layRow(cols, heads(cols), nil)
	for _, g := range groups {
		if title := g.title(); title != "" {
			lines = append(lines, "")
			lines = append(lines, paragraph("", title)...)
		}
		for i, c := range g.cells {
			lines = append(lines, layRow(cols, c, painter(g.rows[i].Verdict, colour))...)
			if line := conditionLine(g.rows[i]); line != "" {
				lines = append(lines, paragraph("    ", line)...)
			}
			for _, note := range g.folded[i] {
				lines = append(lines, paragraph("  ", note)...)
			}
		}
	}
	return append(lines, foot.lines()...)
}

func columns() []column {
	return []column{
		{head: "reading"},
		{head: "value", widest: 16, right: true},
		{head: "± (k=2)", widest: 10, right: true},
		{head: "limit", widest: 20},
		{head: "margin", widest: 10, right: true},
		{head: "verdict", widest: 12},
	}
}

func heads(cols []column) []string {
	var h []string
	for _, c := range cols {
		h = append(h, c.head)
	}
	return h
}

func cellsOf(j verdict.Judged, groupState string, foot *footnotes) []string {
	what := What(j.Reading)
	if j.State != groupState {
		what += ", " + stateWords(j.State)
	}
	f := figureOf(j)
	return []string{what + foot.marks(j), f.value, f.uncertainty, f.limit, f.margin, verdictWords(j.Verdict)}
}

func stateWords(state string) string {
	if state == "" {
		return "no state given"
	}
	return oneLine(state)
}

func anyLimit(rows []verdict.Judged) bool {
	for _, j := range rows {
		if j.Limit != nil || j.Verdict != "" {
			return true
		}
	}
	return false
}

const verdictColumn = 5

// painter colours the verdict, which says the same in words.
func painter(o verdict.Outcome, colour bool) func(int, string) string {
	if !colour {
		return nil
	}
	codes := map[verdict.Outcome]string{
		verdict.Pass: "32", verdict.ConditionalPass: "33",
		verdict.ConditionalFail: "1;33", verdict.Fail: "1;31", verdict.NotMeasured: "33",
	}
	return func(col int, s string) string {
		if col != verdictColumn || codes[o] == "" {
			return s
		}
		return "\x1b[" + codes[o] + "m" + s + "\x1b[0m"
	}
}

// footnotes collects what rows need said beneath the table.
type footnotes struct {
	floor, conditional bool
	notes              []string
}

func (f *footnotes) marks(j verdict.Judged) string {
	marks := ""
	if j.FloorLimited && !j.Absent {
		f.floor = true
		marks += noBreak + "*"
	}
	if j.Verdict == verdict.ConditionalPass || j.Verdict == verdict.ConditionalFail {
		f.conditional = true
	}
	if note := oneLine(j.Note); note != "" {
		marks += fmt.Sprintf("%s[%d]", noBreak, f.number(note))
	}
	return marks
}

func (f *footnotes) number(note string) int {
	for i, n := range f.notes {
		if n == note {
			return i + 1
		}
	}
	f.notes = append(f.notes, note)
	return len(f.notes)
}

func (f *footnotes) lines() []string {
	var lines []string
	if f.floor {
		lines = append(lines, paragraph("*   ", "set by the bench's own floor; the board itself may be better")...)
	}
	for i, n := range f.notes {
		lines = append(lines, paragraph(fmt.Sprintf("[%d] ", i+1), n)...)
	}
	if f.conditional {
		lines = append(lines, paragraph("", "conditional: nearer to the limit than the uncertainty, so a better measurement could turn it")...)
	}
	if len(lines) > 0 {
		lines = append([]string{""}, lines...)
	}
	return lines
}
