package report

import (
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
)

func compareRow(quantity string, harmonic int, before, after, u float64, o change.Outcome) change.Row {
	j := func(v float64) verdict.Judged {
		return verdict.Judged{Reading: analysis.Reading{Quantity: quantity, Output: "A", Harmonic: harmonic, FrequencyHz: 50 * float64(harmonic), Value: v, Unit: analysis.UnitOf(quantity), Uncertainty: 0.1, K: 2}}
	}
	return change.Row{Before: j(before), After: j(after), Difference: after - before, Unit: "dB", Uncertainty: u, K: 2, Outcome: o}
}

// A comparison is read by a person: real ones on top, the rest folded, each
// line within 100 columns, "at least" where a bound says no more.
func TestComparedForAPerson(t *testing.T) {
	bound := compareRow(analysis.HumHarmonic, 1, -110, -80, 0.2, change.Real)
	bound.Before.UpperBound, bound.Bound = true, "at least"
	tiny := compareRow(analysis.LevelMatch, 0, 0.001, 0.003, 0.0005, change.Real)
	tiny.WithinPlug = true
	turned := compareRow(analysis.Polarity, 0, 1, -1, 0, change.Real)
	nothing := compareRow(analysis.HumHarmonic, 2, -120, -121, 0.2, change.CannotTell)
	nothing.Before.UpperBound, nothing.After.UpperBound = true, true
	c := change.Comparison{
		Findings: []change.Finding{{What: "output A is turned over" + strings.Repeat(" and over", 20), Like: "like two wires\nswapped", Outcome: change.Real}},
		Rows:     []change.Row{turned, compareRow(analysis.Gain, 0, -0.3, -1.55, 0.16, change.Real), tiny, bound, nothing, compareRow(analysis.Flatness, 0, 0.1, 0.1, 0.1, change.Unchanged)},
		Unpaired: []change.Unpaired{{Reading: analysis.Reading{Quantity: analysis.Delay, Output: "B"}, Reason: "no signal"}, {Reading: analysis.Reading{Quantity: analysis.Polarity, Output: "B"}, Reason: "no signal"}},
		Tests:    17,
	}
	var b strings.Builder
	if err := Compared(&b, c, CompareOptions{Simulated: true}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for line := range strings.Lines(text) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 100 {
			t.Errorf("%d columns: %q", n, line)
		}
	}
	for _, want := range []string{"SIMULATED", "turned over", "−1.25 dB", "0.16", "REAL*", "no more than plugging a lead again", "≥ +30.00 dB", "1 unchanged",
		"1 changed harmonics (real), below", "only then, output B: delay (taken out of the phase), polarity: no signal", "among the 17 comparisons"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("%q is not in:\n%s", want, text)
		}
	}
	if strings.Contains(text, "flatness") {
		t.Error("an unchanged row is not folded")
	}
	b.Reset()
	if err := Compared(&b, c, CompareOptions{All: true}); err != nil || !strings.Contains(b.String(), "flatness") {
		t.Errorf("--all shows not all: %v\n%s", err, b.String())
	}
	if i, j := strings.Index(b.String(), "turned over"), strings.Index(b.String(), "REAL*"); i < 0 || j < i {
		t.Errorf("order:\n%s", b.String())
	}
}

// Nothing found means something only where something was compared.
func TestComparedWithoutFindings(t *testing.T) {
	left := []change.Unpaired{{Reading: analysis.Reading{Quantity: analysis.Gain, Output: "B"}, Reason: "no signal", Now: true}}
	for name, c := range map[string]struct {
		change.Comparison
		want, not string
	}{
		"all alike":        {change.Comparison{Tests: 3}, "Nothing has really changed", "could be compared"},
		"one curve":        {change.Comparison{Tests: 3, Curves: []change.CurveChange{{Quantity: analysis.Response, Output: "A", Outcome: change.Unchanged}}}, "response, output A: stands out nowhere: unchanged", "could be compared"},
		"one output dead":  {change.Comparison{Tests: 3, Unpaired: left}, "Of what both runs read nothing has really changed", "could be compared"},
		"nothing compared": {change.Comparison{Unpaired: left}, "Nothing could be compared", "changed"},
	} {
		var b strings.Builder
		if err := Compared(&b, c.Comparison, CompareOptions{}); err != nil {
			t.Fatal(err)
		}
		if text := b.String(); !strings.Contains(text, c.want) || strings.Contains(text, c.not) || (c.Tests == 0) != !strings.Contains(text, "by chance") {
			t.Errorf("%s: %s", name, text)
		}
	}
}
