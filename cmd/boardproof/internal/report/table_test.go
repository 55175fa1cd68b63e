package report

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"boardproof/analysis"
	"boardproof/analysis/verdict"

	"github.com/google/go-cmp/cmp"
	"github.com/rivo/uniseg"
	"pgregory.net/rapid"
)

// UPDATE_GOLDEN=1 writes the golden files anew; read them before committing.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

func between(lo, hi float64) *verdict.Limit { return &verdict.Limit{Min: &lo, Max: &hi} }
func atMost(v float64) *verdict.Limit       { return &verdict.Limit{Max: &v} }
func atLeast(v float64) *verdict.Limit      { return &verdict.Limit{Min: &v} }

func judged(step string, r analysis.Reading, l *verdict.Limit, o verdict.Outcome) verdict.Judged {
	r.K = analysis.CoverageK
	return verdict.Judged{Reading: r, Step: step, Limit: l, Verdict: o}
}

func failingBoard() []verdict.Judged {
	rows := []verdict.Judged{
		judged("split", analysis.Reading{Quantity: "gain", Output: "A", FrequencyHz: 1000, State: "all bypassed", Value: -0.1234, Unit: "dB", Uncertainty: 0.012}, between(-1, 1), verdict.Pass),
		judged("split", analysis.Reading{Quantity: "high_corner", Output: "A", State: "all bypassed", Value: 14950, Unit: "Hz", Uncertainty: 120}, atLeast(15000), verdict.ConditionalFail),
		judged("split", analysis.Reading{Quantity: "level_match", Output: "B", Reference: "A", FrequencyHz: 1000, State: "all bypassed", Value: -1.21, Unit: "dB", Uncertainty: 0.004}, between(-0.25, 0.25), verdict.Fail),
		judged("split", analysis.Reading{Quantity: "worst_level_match", Output: "B", Reference: "A", FrequencyHz: 10500, State: "all bypassed", Value: 0.27, Unit: "dB", Uncertainty: 0.06}, between(-0.3, 0.3), verdict.ConditionalPass),
		judged("split", analysis.Reading{Quantity: "delay_match", Output: "B", Reference: "A", State: "all bypassed", Value: 0.34, Unit: "µs", Uncertainty: 0.051, Note: "phase slope 100 Hz to 5 kHz"}, nil, ""),
		judged("split", analysis.Reading{Quantity: "polarity_match", Output: "B", Reference: "A", State: "all bypassed", Value: -1, Unit: "1"}, between(1, 1), verdict.Fail),
		judged("silence", analysis.Reading{Quantity: "noise", Weighting: "A", Output: "A", Value: -98.41, Unit: "dBu", Uncertainty: 0.43, FloorLimited: true}, atMost(-85), verdict.Pass),
		{Reading: analysis.Reading{Quantity: "hiss", Weighting: "468", Output: "A", Note: "the take clipped"}, Step: "silence", Limit: atMost(-80), Verdict: verdict.NotMeasured, Absent: true},
		judged("silence", analysis.Reading{Quantity: "mains_frequency", Output: "A", Value: 50.01234, Unit: "Hz", Uncertainty: 0.00051}, nil, ""),
	}
	for n := 1; n <= 40; n++ {
		r := analysis.Reading{Quantity: "hum_harmonic", Output: "B", Harmonic: n, FrequencyHz: 50.012 * float64(n), Unit: "dBu"}
		r.Value, r.Uncertainty = -80-3*float64(n)+4*float64(n%2), 0.31
		if n > 15 {
			r.Value, r.UpperBound = -118.44, true
		}
		var l *verdict.Limit
		var o verdict.Outcome
		switch n {
		case 2:
			l, o = atMost(-75), verdict.Pass
		case 9:
			l, o = atMost(-110), verdict.Fail
		case 12:
			l, o = atMost(-100), verdict.Pass
		}
		rows = append(rows, judged("silence", r, l, o))
	}
	return rows
}

func TestTableGolden(t *testing.T) {
	refused := []analysis.Refusal{
		{Quantity: "thd", Output: "A", State: "fuzz engaged", Reason: "lost samples: marks 480064 apart, played 480000"},
		{Quantity: "noise", Output: "B", Reason: "the take clipped at 12 places, the first 1.203 s after its start, so that what was recorded is not what arrived at the input"},
	}
	golden(t, "failing.txt", table(t, failingBoard(), TableOptions{Simulated: true, Refused: refused}))
	golden(t, "all.txt", table(t, failingBoard(), TableOptions{All: true}))
	golden(t, "offline.txt", table(t, []verdict.Judged{
		judged("", analysis.Reading{Quantity: "gain", Output: "A", FrequencyHz: 1000, Value: 0.0000012, Unit: "dB", Uncertainty: 0.0000031}, nil, ""),
		judged("", analysis.Reading{Quantity: "delay", Output: "A", Value: 21354.2, Unit: "µs", Uncertainty: 0.21}, nil, ""),
		judged("", analysis.Reading{Quantity: "thd", Output: "A", FrequencyHz: 1000, Value: 0.00213, Unit: "%", Uncertainty: 0.0004, UpperBound: true}, nil, ""),
	}, TableOptions{}))
	golden(t, "empty.txt", table(t, nil, TableOptions{Refused: refused[:1]}))
}

func TestSummary(t *testing.T) {
	row := func(q string, o verdict.Outcome) verdict.Judged {
		return judged("", analysis.Reading{Quantity: q, Output: "B", Reference: "A"}, atMost(1), o)
	}
	tests := []struct {
		rows []verdict.Judged
		want string
	}{
		{nil, "nothing measured"},
		{[]verdict.Judged{row("level_match", "")}, "1 reading, no limits set"},
		{[]verdict.Judged{row("level_match", verdict.Pass)}, "PASS: 1 limit"},
		{[]verdict.Judged{row("level_match", verdict.Pass), row("delay_match", verdict.ConditionalPass)},
			"PASS: 2 limits, 1 of them conditional: delay match B against A"},
		{[]verdict.Judged{row("polarity_match", verdict.Fail), row("level_match", verdict.ConditionalFail), row("delay_match", verdict.ConditionalPass)},
			"FAIL: 2 of 3 limits: polarity match B against A; level match B against A (conditional)"},
		{[]verdict.Judged{row("polarity_match", verdict.Fail), row("level_match", verdict.NotMeasured)},
			"FAIL: 1 of 2 limits: polarity match B against A. NOT MEASURED: 1 of 2 limits: level match B against A"},
	}
	for _, tt := range tests {
		if got := Summary(tt.rows); got != tt.want {
			t.Errorf("got  %q\nwant %q", got, tt.want)
		}
	}
}

func TestColourIsOnlyOnTop(t *testing.T) {
	rows := failingBoard()
	plain, painted := render(rows, TableOptions{}, false), render(rows, TableOptions{}, true)
	if !strings.Contains(painted, "\x1b[1;31mFAIL\x1b[0m") || !strings.Contains(painted, "\x1b[32mPASS\x1b[0m") {
		t.Error("no colour where it was asked for")
	}
	if strings.Contains(painted, "mgain") {
		t.Error("colour outside of the verdict")
	}
	for _, code := range []string{"32", "33", "1;33", "1;31", "0"} {
		painted = strings.ReplaceAll(painted, "\x1b["+code+"m", "")
	}
	if diff := cmp.Diff(plain, painted); diff != "" {
		t.Errorf("without its colours the table reads otherwise (-plain +painted):\n%s", diff)
	}
}

func TestFileIsNoTerminal(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "out.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if colourful(f) || colourful(&bytes.Buffer{}) {
		t.Error("colour into a file")
	}
}

func TestTableSaysWhenItCannotWrite(t *testing.T) {
	f, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	if err := Table(f, failingBoard(), TableOptions{}); err == nil || !strings.Contains(err.Error(), "write table of readings") {
		t.Errorf("err = %v", err)
	}
}

func TestNoTableIsWiderThanItsLine(t *testing.T) {
	quantities := []string{"gain", "noise", "hum_harmonic", "other_tone", "polarity_match", "high_corner", "x"}
	outcomes := []verdict.Outcome{"", verdict.Pass, verdict.ConditionalPass, verdict.ConditionalFail, verdict.Fail, verdict.NotMeasured, "strange"}
	number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-200, 200),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, 5e-324}))
	text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[a-z0-9 ]{0,300}`), rapid.StringMatching(`[\x00-\x1f字あ]{0,60}`))
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.Custom(func(t *rapid.T) verdict.Judged {
			j := verdict.Judged{Step: text.Draw(t, "step"), Verdict: rapid.SampledFrom(outcomes).Draw(t, "outcome")}
			j.Reading = analysis.Reading{
				Quantity: rapid.OneOf(rapid.SampledFrom(quantities), text).Draw(t, "quantity"),
				Output:   text.Draw(t, "output"), Reference: text.Draw(t, "reference"), State: text.Draw(t, "state"),
				FrequencyHz: number.Draw(t, "f"), Harmonic: rapid.Int().Draw(t, "n"), Weighting: text.Draw(t, "w"),
				Value: number.Draw(t, "value"), Uncertainty: number.Draw(t, "u"),
				Unit:       rapid.OneOf(rapid.SampledFrom([]string{"dB", "dBu", "Hz", "µs", "%"}), text).Draw(t, "unit"),
				UpperBound: rapid.Bool().Draw(t, "bound"), LowerBound: rapid.Bool().Draw(t, "bound below"), FloorLimited: rapid.Bool().Draw(t, "floor"), Note: text.Draw(t, "note"),
			}
			if rapid.Bool().Draw(t, "limited") {
				lo, hi := number.Draw(t, "min"), number.Draw(t, "max")
				j.Limit = &verdict.Limit{Min: &lo, Max: &hi}
			}
			return j
		})
		rows := rapid.SliceOfN(row, 0, 12).Draw(t, "rows")
		opt := TableOptions{Simulated: rapid.Bool().Draw(t, "sim"), Refused: []analysis.Refusal{{Quantity: text.Draw(t, "q"), Output: text.Draw(t, "o"), Reason: text.Draw(t, "why")}}}
		for line := range strings.SplitSeq(strings.TrimSuffix(render(rows, opt, false), "\n"), "\n") {
			if w := uniseg.StringWidth(line); w > tableWidth {
				t.Errorf("%d columns: %q", w, line)
			}
			if i := strings.IndexFunc(line, unicode.IsControl); i >= 0 {
				t.Errorf("control code in %q", line)
			}
		}
	})
}

func table(t *testing.T, rows []verdict.Judged, opt TableOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := Table(&b, rows, opt); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestFoldKeepsWhatDidNotPass(t *testing.T) {
	var rows []verdict.Judged
	for n := 1; n <= 20; n++ {
		o := verdict.Pass
		if n == 20 {
			o = verdict.ConditionalFail
		}
		rows = append(rows, judged("", analysis.Reading{Quantity: "hum_harmonic", Output: "A", Harmonic: n, Value: -80 - float64(n), Unit: "dBu", Uncertainty: 1}, atMost(-70), o))
	}
	got := table(t, rows, TableOptions{})
	for _, want := range []string{"hum harmonic 5,", "hum harmonic 20,", fmt.Sprintf("… %d more harmonics, none above −86.0 dBu, 14 held against a limit: all PASS (see --json)", 14)} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in\n%s", want, got)
		}
	}
	if strings.Contains(got, "hum harmonic 6,") {
		t.Errorf("weak harmonic shown in\n%s", got)
	}
}
