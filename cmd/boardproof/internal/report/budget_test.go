package report

import (
	"bytes"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"github.com/rivo/uniseg"
)

func budgetRows() []verdict.Judged {
	noise := judged("silence", analysis.Reading{Quantity: "noise", Weighting: "A", Output: "B", State: "all bypassed", Value: -97.3041, Unit: "dBu",
		Budget: analysis.Budget{
			{Source: "scatter of the noise itself", Kind: "A", Std: 0.03},
			{Source: "multimeter's accuracy", Kind: "B", Std: 0.04},
			{Source: "a source whose name is a good deal longer than the line of a printed page leaves room for beside three columns", Kind: "B", Std: 0.0001},
		}}, nil, "")
	noise.Uncertainty = 0.1
	return []verdict.Judged{
		noise,
		judged("path", analysis.Reading{Quantity: "high_corner", Output: "A", Value: 22000, Unit: "Hz", LowerBound: true}, nil, ""),
		judged("path", analysis.Reading{Quantity: "polarity", Output: "A", Value: 1}, nil, ""),
		judged("", analysis.Reading{Quantity: "gain", Output: "A", Value: -0.1, Unit: "dB", Uncertainty: 0.2}, nil, ""),
		{Reading: analysis.Reading{Quantity: "gain", Output: "B", Note: "the take clipped"}, Absent: true},
	}
}

// 0.03² and 0.04² are 36 % and 64 % of 0.05².
func TestBudgets(t *testing.T) {
	var out bytes.Buffer
	if err := Budgets(&out, budgetRows()); err != nil {
		t.Fatal(err)
	}
	golden(t, "budget.txt", out.String())
	for _, line := range strings.Split(out.String(), "\n") {
		if uniseg.StringWidth(line) > tableWidth {
			t.Errorf("%d columns: %s", uniseg.StringWidth(line), line)
		}
	}
}

func TestConditionIsSaidUnderItsRow(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	for want, j := range map[string]verdict.Judged{
		"pass, conditional: 12 % chance of being outside; 8 more sweeps (59 s) would settle it": {Verdict: verdict.ConditionalPass, ChanceWrong: at(0.124),
			Settles: "8 more sweeps (59 s) would settle it"},
		"fail, conditional: 3 % chance of being inside":        {Verdict: verdict.ConditionalFail, ChanceWrong: at(0.0277)},
		"pass, conditional: under 1 % chance of being outside": {Verdict: verdict.ConditionalPass, ChanceWrong: at(0.0001)},
		"pass, conditional: over 99 % chance of being outside": {Verdict: verdict.ConditionalPass, ChanceWrong: at(0.9999)},
		"": {Verdict: verdict.Pass},
	} {
		if got := strings.ReplaceAll(conditionLine(j), noBreak, " "); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	j := judged("path", analysis.Reading{Quantity: "gain", Output: "A", FrequencyHz: 1000, Value: 0.9, Unit: "dB", Uncertainty: 0.2}, atMost(1), verdict.ConditionalPass)
	j.ChanceWrong = at(0.159)
	lines := strings.Split(render([]verdict.Judged{j}, TableOptions{}, false), "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, "    pass, conditional: 16 % chance of being outside") {
			if i < 2 || !strings.HasPrefix(lines[i-2], "gain, output A") && !strings.HasPrefix(lines[i-1], "gain, output A") {
				t.Errorf("the condition is not under its row:\n%s", strings.Join(lines, "\n"))
			}
			return
		}
	}
	t.Errorf("the table does not say the chance:\n%s", strings.Join(lines, "\n"))
}
