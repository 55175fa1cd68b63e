package report

import (
	"fmt"
	"io"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Budgets writes, for each reading, what its uncertainty consists of: each
// contribution as a standard uncertainty in the reading's unit and as a share
// of the variance, then both together. No line is wider than 100 columns.
func Budgets(w io.Writer, rows []verdict.Judged) error {
	var lines []string
	for i, j := range rows {
		if i > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, budgetLines(j)...)
	}
	if _, err := io.WriteString(w, strings.Join(lines, "\n")+"\n"); err != nil {
		return fmt.Errorf("write budgets: %w", err)
	}
	return nil
}

func budgetLines(j verdict.Judged) []string {
	title := What(j.Reading)
	if where := (group{step: j.Step, state: j.State}).title(); where != "" {
		title += " in " + where
	}
	lines := paragraph("", title)
	if why := noBudget(j); why != "" {
		return append(lines, paragraph("  ", why)...)
	}
	unit := oneLine(j.Unit)
	lines = append(lines, paragraph("  ", "value "+signed(toPlace(j.Value, placeOf(j.Value, j.Uncertainty)), unit)+space(unit))...)
	cols := []column{
		{head: "source"}, {head: "kind", widest: 4}, {head: "standard uncertainty", widest: 24, right: true},
		{head: "share of variance", widest: 17, right: true},
	}
	cells := budgetCells(j, uncertaintyUnit(unit))
	fit(cols, append(cells, heads(cols)))
	cols[0].width = max(1, min(cols[0].width, tableWidth-len(gap)-tableRest(cols)))
	for _, c := range append([][]string{heads(cols)}, cells...) {
		for _, l := range layRow(cols, c, nil) {
			lines = append(lines, gap+l)
		}
	}
	return lines
}

// tableRest is the width of all columns but the first.
func tableRest(cols []column) int {
	rest := 0
	for _, c := range cols[1:] {
		rest += c.width + len(gap)
	}
	return rest
}

func budgetCells(j verdict.Judged, unit string) [][]string {
	combined := j.Budget.Std()
	var cells [][]string
	for _, c := range j.Budget {
		cells = append(cells, []string{oneLine(c.Source), oneLine(c.Kind), stdWords(c.Std, unit), shareWords(c.Std, combined)})
	}
	return append(cells,
		[]string{"combined", "", stdWords(combined, unit), "100 %"},
		[]string{"expanded, k = " + factorWords(j.Uncertainty/combined), "", stdWords(j.Uncertainty, unit), ""})
}

// factorWords is what an uncertainty was expanded by: 2, or less where one
// contribution that is evenly spread outweighs the rest.
func factorWords(k float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.2f", k), ".00")
}

// uncertaintyUnit is the unit of an uncertainty: that of a level is a ratio.
func uncertaintyUnit(unit string) string {
	if unit == "dBu" {
		return "dB"
	}
	return unit
}

func stdWords(std float64, unit string) string {
	if std <= 0 || !finite(std) {
		return none
	}
	rounded, place := roundUncertainty(std)
	return toPlace(rounded, place) + space(unit)
}

func shareWords(std, combined float64) string {
	share := 100 * std * std / (combined * combined)
	switch {
	case !finite(share):
		return none
	case share < 0.05:
		return "< 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", share)
}

// noBudget says why a reading has none, "" where it has.
func noBudget(j verdict.Judged) string {
	switch {
	case j.Absent:
		return "it was not measured: " + oneLine(j.Note)
	case len(j.Budget) > 0:
		return ""
	case j.UpperBound || j.LowerBound:
		return "only a bound is known, which has no budget"
	case isPolarity(j.Quantity) || j.Quantity == analysis.DropOuts:
		return "it is a sign or a count, which has no budget"
	}
	return "no budget was kept with it"
}

// conditionLine says how likely a conditional verdict is wrong, and what would
// settle it, "" where the verdict is none.
func conditionLine(j verdict.Judged) string {
	if j.ChanceWrong == nil || !finite(*j.ChanceWrong) {
		return ""
	}
	side := "outside"
	if j.Verdict == verdict.ConditionalFail {
		side = "inside"
	}
	line := fmt.Sprintf("%s: %s%%%schance of being %s", verdictWords(j.Verdict), percentWords(*j.ChanceWrong), noBreak, side)
	if j.Settles != "" {
		line += "; " + oneLine(j.Settles)
	}
	return line
}

// percentWords is a chance in percent, never so rounded that it is none or
// certain.
func percentWords(chance float64) string {
	switch percent := 100 * chance; {
	case percent < 0.5:
		return "under" + noBreak + "1" + noBreak
	case percent > 99.5:
		return "over" + noBreak + "99" + noBreak
	default:
		return fmt.Sprintf("%.0f%s", percent, noBreak)
	}
}
