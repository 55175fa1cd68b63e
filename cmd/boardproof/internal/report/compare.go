package report

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"
)

// CompareOptions says what stands around a comparison.
type CompareOptions struct {
	Simulated bool
	// All shows each unchanged row too.
	All bool
}

// Compared writes what is different between two runs for a person: first in
// words, then reading by reading with the real changes on top, the harmonics
// side by side, and what has no partner. No line is wider than 100 columns.
func Compared(w io.Writer, c change.Comparison, opt CompareOptions) error {
	var lines []string
	if opt.Simulated {
		lines = append(lines, "SIMULATED: no real board was measured", "")
	}
	lines = append(lines, findingLines(c)...)
	lines = append(lines, "")
	lines = append(lines, rowLines(c.Rows, opt.All)...)
	lines = append(lines, curveLines(c.Curves)...)
	lines = append(lines, harmonicLines(c.Rows)...)
	lines = append(lines, unpairedLines(c.Unpaired)...)
	if c.Tests > 0 {
		lines = append(lines, "")
		lines = append(lines, legend(c.Tests)...)
	}
	if _, err := io.WriteString(w, strings.Join(lines, "\n")+"\n"); err != nil {
		return fmt.Errorf("write comparison: %w", err)
	}
	return nil
}

// legend says what the words beside so many comparisons mean.
func legend(tests int) []string {
	return paragraph("", fmt.Sprintf("real: such a difference comes by chance, anywhere among the %s of a board that did not "+
		"change, in at most 1 of 20 boards (Holm). maybe: beyond scatter on its own, but 1 reading of 20 is by chance. "+
		"Not in any ±: how the board's own plugs seat each time, temperature, and what the mains itself does to hum.", Count(tests, "comparison")))
}

func findingLines(c change.Comparison) []string {
	if len(c.Findings) == 0 {
		return paragraph("", nothingFound(c))
	}
	lines := []string{"What changed:"}
	for i, f := range c.Findings {
		what := oneLine(f.What)
		if f.Outcome == change.Maybe {
			what = "(maybe) " + what
		}
		lines = append(lines, paragraph(fmt.Sprintf("%3d. ", i+1), what)...)
		for _, more := range []string{f.Like, f.Look} {
			if more != "" {
				lines = append(lines, paragraph("       ", oneLine(more))...)
			}
		}
	}
	return lines
}

// nothingFound says how much it means that nothing was found.
func nothingFound(c change.Comparison) string {
	switch {
	case c.Tests == 0:
		return "Nothing could be compared: no reading of one run has a partner in the other that it can be tested against."
	case len(c.Unpaired) > 0:
		return "Of what both runs read nothing has really changed: no difference is more than scatter. What one of them lacks is named below."
	}
	return "Nothing has really changed: no difference is more than scatter."
}

func compareColumns() []column {
	return []column{
		{head: "reading"},
		{head: "then", widest: 14, right: true},
		{head: "now", widest: 14, right: true},
		{head: "difference", widest: 17, right: true},
		{head: "± (k=2)", widest: 10, right: true},
		{head: "change", widest: 12},
	}
}

// rowLines folds what did not change, and harmonics, which have a list of
// their own.
func rowLines(rows []change.Row, all bool) []string {
	var cells [][]string
	folded := map[string]int{}
	plug := false
	for _, r := range rows {
		if !all && !stands(r) {
			folded[foldedWords(r)]++
			continue
		}
		plug = plug || r.WithinPlug && r.Outcome == change.Real
		cells = append(cells, compareCells(r, differentStates(rows)))
	}
	var lines []string
	if len(cells) > 0 {
		cols := compareColumns()
		fit(cols, cells)
		lines = layRow(cols, heads(cols), nil)
		for _, c := range cells {
			lines = append(lines, layRow(cols, c, nil)...)
		}
	}
	if plug {
		lines = append(lines, paragraph("*  ", plugWords)...)
	}
	var rest []string
	for _, words := range slices.Sorted(maps.Keys(folded)) {
		rest = append(rest, fmt.Sprintf("%d %s", folded[words], words))
	}
	if len(rest) > 0 {
		lines = append(lines, paragraph("… ", strings.Join(rest, ", ")+" (--all shows them)")...)
	}
	return lines
}

const plugWords = "real, but no more than plugging a lead again does, by the figure that the profile has for it"

// stands is false for what a person need not read.
func stands(r change.Row) bool {
	return r.After.Quantity != analysis.HumHarmonic && (r.Outcome == change.Real || r.Outcome == change.Maybe && !r.WithinPlug)
}

func foldedWords(r change.Row) string {
	switch {
	case r.Outcome == change.CannotTell:
		return "of which nothing can be said (bounds, other tones, THD+N)"
	case r.Outcome == change.NotTheBoard:
		return "of the mains or the bench"
	case r.Outcome == change.Unchanged:
		return "unchanged"
	case r.After.Quantity == analysis.HumHarmonic:
		return "changed harmonics (" + string(r.Outcome) + "), below"
	}
	return "maybe changed, by less than plugging again does"
}

func differentStates(rows []change.Row) bool {
	for _, r := range rows {
		if r.After.State != rows[0].After.State && r.After.Quantity != analysis.BenchGainDrift {
			return true
		}
	}
	return false
}

func compareCells(r change.Row, withState bool) []string {
	then, now := figureOf(r.Before).value, figureOf(r.After).value
	what := What(r.After.Reading)
	if withState && r.After.State != "" {
		what += ", " + oneLine(r.After.State)
	}
	difference, u := differenceWords(r)
	return []string{what, then, now, difference, u, changeWords(r.Outcome, r.WithinPlug)}
}

// differenceWords gives the difference as far as it is known, in the unit of
// the values.
func differenceWords(r change.Row) (difference, uncertainty string) {
	if isPolarity(r.After.Quantity) {
		if r.Difference != 0 {
			return "turned over", none
		}
		return none, none
	}
	if r.Outcome == change.CannotTell && r.Bound == "" && (r.Before.UpperBound || r.After.UpperBound || r.Before.LowerBound || r.After.LowerBound) {
		return none, none
	}
	factor, unit := scaleUnit(max(abs(r.Before.Value), abs(r.After.Value)), r.Unit)
	d, u := r.Difference*factor, r.Uncertainty*factor
	place := placeOf(d, u)
	text := toPlace(d, place)
	if !strings.HasPrefix(text, "−") && strings.Trim(text, "0.") != "" {
		text = "+" + text
	}
	switch r.Bound {
	case "at least":
		text = "≥ " + text
	case "at most":
		text = "≤ " + text
	}
	text += space(unit)
	if u > 0 && finite(u) {
		return text, uncertaintyWords(u, place)
	}
	return text, none
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

func changeWords(o change.Outcome, withinPlug bool) string {
	switch {
	case o == change.Real && withinPlug:
		return "REAL*"
	case o == change.Real:
		return "REAL"
	}
	return string(o)
}

// harmonicsShown is how many harmonics stand side by side.
const harmonicsShown = 10
