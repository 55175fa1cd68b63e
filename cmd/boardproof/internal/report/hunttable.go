package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// outputsAbreast is how many outputs stand side by side in a table of a hunt.
const outputsAbreast = 2

// HuntSilence writes the nth silence of a hum hunt: its condition, why it was
// tried, and its table.
func HuntSilence(w io.Writer, columns, n int, c hunt.Condition, why string, readings []hunt.Reading, changes []hunt.Change) error {
	head := c.String()
	if mains := HuntMains(readings); mains != "" {
		head += " (" + mains + ")"
	}
	Wrap(w, columns, fmt.Sprintf("%d. ", n), head)
	if why != "" {
		Wrap(w, columns, "   why: ", why)
	}
	return HuntTable(w, readings, changes)
}

// HuntTable writes what one condition of a hum hunt gave: the level of each
// group at each output, the change against as found, and the bench's own.
// changes may be those of other conditions too.
func HuntTable(w io.Writer, readings []hunt.Reading, changes []hunt.Change) error {
	var lines []string
	var read []hunt.Reading
	for _, r := range readings {
		if r.Reason != "" {
			lines = append(lines, paragraph("output "+oneLine(r.Output)+": ", "not read: "+r.Reason)...)
			continue
		}
		read = append(read, r)
	}
	for len(read) > 0 {
		n := min(outputsAbreast, len(read))
		lines = append(lines, huntBlock(read[:n], changes)...)
		read = read[n:]
	}
	lines = append(lines, huntMarks(readings)...)
	for _, r := range readings {
		if r.Moving != "" {
			lines = append(lines, paragraph("output "+oneLine(r.Output)+": ", r.Moving+": not a sure reading, repeat it")...)
		}
	}
	_, err := io.WriteString(w, strings.Join(lines, "\n")+"\n")
	return err
}

func huntBlock(readings []hunt.Reading, changes []hunt.Change) []string {
	cols := []column{{}}
	var rows [][]string
	for _, g := range hunt.Groups() {
		rows = append(rows, []string{g})
	}
	withChange := readings[0].Condition != hunt.AsFound
	add := func(head string, cell func(r hunt.Reading, group string) string, r hunt.Reading) {
		cols = append(cols, column{head: head, widest: 24, right: true})
		for i, g := range hunt.Groups() {
			rows[i] = append(rows[i], cell(r, g))
		}
	}
	for _, r := range readings {
		add(oneLine(r.Output)+", "+huntUnit(r), levelCell, r)
		if withChange {
			add("change, dB", func(r hunt.Reading, g string) string { return changeCell(changeOf(changes, r, g)) }, r)
		}
		add("bench", benchCell, r)
	}
	fit(cols, rows)
	head := make([]string, len(cols))
	for i, c := range cols {
		head[i] = c.head
	}
	lines := layRow(cols, head, nil)
	for _, r := range rows {
		lines = append(lines, layRow(cols, r, nil)...)
	}
	return lines
}

func huntUnit(r hunt.Reading) string {
	if r.InVolts {
		return "dBu"
	}
	return "dBFS"
}

// shownLevel is a level in dBu, or in dB under a full-scale sine where no full
// scale is known, with its expanded uncertainty. ok is false where there is
// nothing at all.
func shownLevel(r hunt.Reading, l hunt.Level) (level, expanded float64, ok bool) {
	if !(l.RMS.Value > 0) {
		return 0, 0, false
	}
	level, expanded = l.DBu()
	if !r.InVolts {
		level = analysis.DB(l.RMS.Value * math.Sqrt2)
	}
	return level, expanded, finite(level) && finite(expanded)
}

func levelCell(r hunt.Reading, group string) string {
	l := r.Levels[group]
	level, u, ok := shownLevel(r, l)
	switch {
	case !ok:
		return none
	case l.UpperBound:
		return "< " + toPlace(math.Ceil(level*10)/10, -1)
	}
	text := toPlace(level, -1) + " ± " + toPlace(math.Max(math.Ceil(u*10)/10, 0.1), -1)
	if l.FloorLimited {
		text = "* " + text
	}
	return text
}

func benchCell(r hunt.Reading, group string) string {
	l := r.Levels[group]
	l.RMS = analysis.Estimate{Value: l.BenchRMS}
	level, _, ok := shownLevel(r, l)
	if !ok {
		return none
	}
	return toPlace(level, -1)
}

func changeOf(changes []hunt.Change, r hunt.Reading, group string) *hunt.Change {
	for i, c := range changes {
		if c.Output == r.Output && c.Group == group && c.Condition == r.Condition {
			return &changes[i]
		}
	}
	return nil
}

func changeCell(c *hunt.Change) string {
	switch {
	case c == nil || c.AtMost && c.AtLeast:
		return none
	case c.AtMost:
		return "≤ " + signed(toPlace(c.DB.Value, -1), "dB")
	case c.AtLeast:
		return "≥ " + signed(toPlace(c.DB.Value, -1), "dB")
	}
	u := " ± " + toPlace(math.Max(math.Ceil(c.ExpandedDB*10)/10, 0.1), -1)
	if c.NoChange {
		return "no change" + u
	}
	return signed(toPlace(c.DB.Value, -1), "dB") + u
}

// huntMarks explains the marks that the table has.
func huntMarks(readings []hunt.Reading) []string {
	bound, floor := false, false
	for _, r := range readings {
		for _, l := range r.Levels {
			bound, floor = bound || l.UpperBound, floor || l.FloorLimited && !l.UpperBound
		}
	}
	var said []string
	if bound {
		said = append(said, "< no more than this, below the noise")
	}
	if floor {
		said = append(said, "* within 3 dB of the bench's own, which may be all there is")
	}
	if len(said) == 0 {
		return nil
	}
	return []string{strings.Join(said, "; ")}
}

// HuntMains says at what the mains stood, "" where it was not found.
func HuntMains(readings []hunt.Reading) string {
	for _, r := range readings {
		if m := r.MainsHz; m.Value > 0 {
			return fmt.Sprintf("mains %.3f ± %.3f Hz", m.Value, math.Max(analysis.CoverageK*m.Std, 0.001))
		}
	}
	return ""
}
