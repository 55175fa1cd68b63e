package report

import (
	"fmt"
	"io"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"
)

// TrendRow is a line of a trend's table.
type TrendRow struct {
	TrendPoint
	Run string
	// Board is empty where all are of one.
	Board, Profile string
}

// TrendTable writes readings over time, the oldest first, at most 100 columns
// wide.
func TrendTable(w io.Writer, rows []TrendRow) error {
	cols := []column{
		{head: "date"}, {head: "run", widest: 16}, {head: "board", widest: 20}, {head: "value", widest: 16, right: true},
		{head: "± (k=2)", widest: 10, right: true}, {head: "limit", widest: 18}, {head: "", widest: 18},
	}
	several := false
	var cells [][]string
	for _, r := range rows {
		several = several || r.Board != ""
		f := figureOf(r.Judged)
		mark := verdictWords(r.Verdict)
		if r.Delivered {
			mark = strings.TrimSpace(mark + " as delivered")
		}
		cells = append(cells, []string{r.At.Local().Format("2006-01-02"), r.Run, oneLine(r.Board), f.value, f.uncertainty, f.limit, mark})
	}
	if !several {
		cols = append(cols[:2], cols[3:]...)
		for i, c := range cells {
			cells[i] = append(c[:2:2], c[3:]...)
		}
	}
	fit(cols, append(cells, heads(cols)))
	lines := layRow(cols, heads(cols), nil)
	for _, c := range cells {
		lines = append(lines, layRow(cols, c, nil)...)
	}
	if _, err := io.WriteString(w, strings.Join(lines, "\n")+"\n"); err != nil {
		return fmt.Errorf("write trend: %w", err)
	}
	return nil
}

// TrendName names a series.
func TrendName(r analysis.Reading, state string) string { return withState(What(r), state) }

// TrendWords says what a trend shows: drift, or scatter, and how sure that is.
func TrendWords(t change.Trend, unit string) string {
	place := placeOf(t.PerYear, t.PerYearUncertainty)
	unit = unitOf(unit)
	slope := fmt.Sprintf("%s%s a year ± %s (k = 2)", plus(toPlace(t.PerYear, place)), space(unit), uncertaintyWords(t.PerYearUncertainty, place))
	words := fmt.Sprintf("no drift: %s, no more than scatter does (%s by chance)", slope, chanceWords(t.PDrift))
	if t.Drifts {
		words = fmt.Sprintf("DRIFTS: %s (%s by chance)", slope, chanceWords(t.PDrift))
	}
	degrees := Count(t.DOF, "degree")
	if t.Scattered {
		return words + fmt.Sprintf("; the readings scatter more about the line than their uncertainties say (chi-square %.1f with %s of freedom), and the ± was widened by as much", t.ChiSquare, degrees)
	}
	return words + fmt.Sprintf("; scatter about the line is as stated (chi-square %.1f with %s of freedom)", t.ChiSquare, degrees)
}

// unitOf is that of a difference.
func unitOf(unit string) string {
	if unit == "dBu" {
		return "dB"
	}
	return oneLine(unit)
}

func plus(s string) string {
	if strings.HasPrefix(s, "−") || strings.Trim(s, "0.") == "" {
		return s
	}
	return "+" + s
}

func chanceWords(p float64) string {
	switch {
	case p < 0.001:
		return "less than 0.1 %"
	case p < 0.1:
		return fmt.Sprintf("%.1f %%", 100*p)
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// ChartWords says what a control chart shows.
func ChartWords(c change.Chart, n int, unit string) string {
	words := fmt.Sprintf("control limits (individuals, moving range of two): %s to %s%s", toPlace(c.Lower, -4), toPlace(c.Upper, -4), space(oneLine(unit)))
	switch {
	case len(c.Beyond) > 0:
		words += fmt.Sprintf("; OUT OF CONTROL: %d of %d beyond them", len(c.Beyond), n)
	case c.OutOfControl():
		words += fmt.Sprintf("; OUT OF CONTROL: %d in a row on one side of the mean", c.Run)
	default:
		words += "; in control"
	}
	if n < fewForChart {
		words += fmt.Sprintf("; %d checks are few for such limits, %d do", n, fewForChart)
	}
	return words
}

// fewForChart is how many values limits should rest on: common practice.
const fewForChart = 20
