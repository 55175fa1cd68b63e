package sheet

import (
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// toldOf is what the sheet of s says under a heading.
func toldOf(t *testing.T, s Source, name string) found {
	t.Helper()
	for _, f := range findings(s) {
		if f.Name == name {
			return f
		}
	}
	t.Fatalf("the sheet has no %q", name)
	return found{}
}

// Of several outputs the sheet promises the worst: the range from the highest low
// corner to the lowest high corner, whichever output and in whichever order.
func TestRangeIsThatOfTheWorstOutputs(t *testing.T) {
	for _, worst := range []string{"A", "B", "C"} {
		s := sample("A", "B", "C").
			change(analysis.LowCorner, worst, func(j *verdict.Judged) { j.Value = 18.04 }).
			change(analysis.HighCorner, worst, func(j *verdict.Judged) { j.Value = 15204 })
		values := toldOf(t, s, "Lows and highs").Values
		if len(values) != 2 || values[0] != (value{"from", "18.0 Hz"}) || values[1] != (value{"to", "15.2 kHz"}) {
			t.Errorf("with the worst corners at output %s the sheet says %v", worst, values)
		}
	}
}

// A range whose corners did not all plainly pass is not a range: each corner is shown.
func TestRangeDoesNotHideACondition(t *testing.T) {
	s := sample("A", "B").change(analysis.LowCorner, "B", func(j *verdict.Judged) { j.Value = 19.98 })
	f := toldOf(t, s, "Lows and highs")
	if len(f.Values) != 2 || f.Values[1] != (value{"B", "lows 19.980 Hz"}) || f.Mark != markOf(verdict.ConditionalPass) || f.Tone != "open" {
		t.Errorf("a corner within its uncertainty of the limit is told as %+v", f)
	}
}

// Of several steps the one that came out worst is told, of several outputs the
// loudest noise and the longest delay are put into words.
func TestTheWorstIsTold(t *testing.T) {
	s := sample("A", "B", "C").
		change(analysis.Noise, "A", func(j *verdict.Judged) { j.Value = -90.0 }).
		change(analysis.DelayMatch, "B", func(j *verdict.Judged) { j.Value = -19.5 })
	if f := toldOf(t, s, "Noise"); !strings.Contains(f.Sentence, "this is 80"+string(noBreak)+"dB below") {
		t.Errorf("noise of −90, −98.26 and −99.26 dBu: %q", f.Sentence)
	}
	if f := toldOf(t, s, "Outputs: timing"); !strings.Contains(f.Sentence, "stood 7"+string(noBreak)+"mm farther") { // 19.5 µs of sound, 343 m/s
		t.Errorf("delays of −19.5 and 14.2 µs: %q", f.Sentence)
	}
	better := judged("again", analysis.Gain, "A", -0.1, 0.0035, limit(-1.5, 0.5))
	s = sample("A").change(analysis.Gain, "A", func(j *verdict.Judged) { j.Value = -3 })
	s.Run.Readings = append(s.Run.Readings, better)
	if f := toldOf(t, s, "Level"); f.Tone != "bad" || !strings.HasPrefix(f.Values[0].Figure, "−3.00") {
		t.Errorf("of a step that failed and one that passed the sheet tells %+v", f)
	}
}

// A second quantity that failed stands beside the first; one that the bench
// itself sets is said to be so.
func TestWhatStandsBeside(t *testing.T) {
	s := sample("A")
	s.Run.Readings = append(s.Run.Readings, judged("tone", analysis.THDN, "A", 0.5, 0.001, limit(0, 0.1)))
	f := toldOf(t, s, "Clean sound")
	if len(f.Values) != 2 || !strings.HasPrefix(f.Values[1].Figure, "with noise 0.5") || f.Tone != "bad" {
		t.Errorf("THD+N that failed beside THD that passed: %+v", f)
	}
	s = sample("A").change(analysis.Noise, "A", func(j *verdict.Judged) { j.FloorLimited = true })
	if f := toldOf(t, s, "Noise"); !strings.Contains(f.Sentence, "The bench itself is no better") {
		t.Errorf("a figure that the bench sets: %q", f.Sentence)
	}
}

// A figure near its limit has every digit, so that nobody reads the limit's own
// figure beside "failed"; one far beyond it has no more than a player needs.
func TestDigitsOfAFailure(t *testing.T) {
	level := topics()[0]
	for value, want := range map[float64]string{-2.0885: "−2.09 dB", -1.5024: "−1.5024 dB", -1.5038: "−1.5038 dB", -1.4976: "−1.4976 dB", 0.6666: "0.67 dB", 0.5054: "+0.5054 dB"} {
		j := judged("path", analysis.Gain, "A", value, 0.0035, limit(-1.5, 0.5))
		if got := level.figure(j); got != want {
			t.Errorf("%g, %s: %q, want %q", value, j.Verdict, got, want)
		}
	}
}
