package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/db"
)

// WriteCSV writes rows as RFC 4180 has them; no cell starts a formula.
func WriteCSV(w io.Writer, rows [][]string) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	for _, row := range rows {
		for i := range row {
			row[i] = cell(row[i])
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("writing a table: %w", err)
		}
	}
	if out.Flush(); out.Error() != nil {
		return fmt.Errorf("writing a table: %w", out.Error())
	}
	return nil
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// applies is empty for 0, which in a reading means "does not apply".
func applies(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v)
}

func bound(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v)
}

// ReadingRows gives a row to each reading of a run, under a head.
func ReadingRows(run db.Run) [][]string {
	rows := [][]string{{"run", "board", "simulated", "step", "state", "quantity", "output", "reference", "frequency_hz",
		"harmonic", "weighting", "value", "unit", "uncertainty", "k", "upper_bound", "lower_bound", "floor_limited",
		"limit_min", "limit_max", "verdict", "note"}}
	for _, j := range run.Readings {
		value, u, k := number(j.Value), number(j.Uncertainty), number(j.K)
		if j.Absent {
			value, u, k = "", "", ""
		}
		var limit verdict.Limit
		if j.Limit != nil {
			limit = *j.Limit
		}
		rows = append(rows, []string{run.ID, run.BoardAsWas.Label, strconv.FormatBool(run.Simulated), j.Step, j.State,
			j.Quantity, j.Output, j.Reference, applies(j.FrequencyHz), applies(float64(j.Harmonic)), j.Weighting, value, j.Unit, u, k,
			strconv.FormatBool(j.UpperBound), strconv.FormatBool(j.LowerBound), strconv.FormatBool(j.FloorLimited),
			bound(limit.Min), bound(limit.Max), string(j.Verdict), j.Note})
	}
	return rows
}

// CurveRows gives a row to each point of each curve.
func CurveRows(run db.Run) [][]string {
	rows := [][]string{{"run", "board", "simulated", "curve", "quantity", "output", "reference", "state", "harmonic", "frequency_hz",
		"value", "unit", "uncertainty", "noise_uncertainty", "phase_deg", "phase_uncertainty_deg", "group_delay_us", "upper_bound", "lower_bound"}}
	for n, c := range run.Curves {
		head := []string{run.ID, run.BoardAsWas.Label, strconv.FormatBool(run.Simulated), strconv.Itoa(n + 1), c.Quantity, c.Output,
			c.Reference, c.State, applies(float64(c.Harmonic))}
		for i := range c.FrequencyHz {
			rows = append(rows, append(head[:len(head):len(head)], curvePoint(c, i)...))
		}
	}
	return rows
}

func curvePoint(c analysis.Curve, i int) []string {
	of := func(values []float64) string {
		if i >= len(values) {
			return ""
		}
		return number(values[i])
	}
	flag := func(flags []bool) string { return strconv.FormatBool(i < len(flags) && flags[i]) }
	return []string{of(c.FrequencyHz), of(c.Value), c.Unit, of(c.Uncertainty), of(c.NoiseUncertainty), of(c.PhaseDeg),
		of(c.PhaseUncertaintyDeg), of(c.GroupDelayUS), flag(c.UpperBound), flag(c.LowerBound)}
}

// startsFormula are the characters with which a cell of a spreadsheet becomes a
// formula: OWASP, CSV injection (from memory), with their wide forms.
const startsFormula = "=+-@\t\r＝＋－＠"

// cell makes text one that a spreadsheet shows as it is. Its line ends are the
// file's own.
func cell(text string) string {
	if text = db.Visible(strings.ReplaceAll(text, "\r\n", "\n")); text != "" && strings.ContainsRune(startsFormula, firstRune(text)) && !isNumber(text) {
		return "'" + text
	}
	return text
}

func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

func firstRune(text string) rune {
	r, _ := utf8.DecodeRuneInString(text)
	return r
}
