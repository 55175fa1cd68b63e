package report

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// The first two and the last are the examples of JCGM 100:2008, 7.2.6: 10.47
// is rounded up to 11, 28.05 down to 28, and 10.057 62 with 0.027 is 10.058.
// The others follow the rule as roundUncertainty states it.
func TestUncertaintyHasTwoDigitsAndTheValueFollows(t *testing.T) {
	tests := []struct {
		value, u    float64
		wantV, want string
	}{
		{0, 10.47, "0", "11"},
		{0, 28.05, "0", "28"},
		{10.05762, 0.027, "10.058", "0.027"},
		{-0.173, 0.004, "−0.1730", "0.0040"},
		{1.2345, 0.0996, "1.23", "0.10"},
		{1.2345, 0.0999, "1.23", "0.10"},
		{1.25, 0.1, "1.25", "0.10"},
		{1234.5, 340, "1230", "340"},
		{1235.5, 1000, "1200", "1000"},
		{50.01234, 0.00051, "50.01234", "0.00051"},
		{-0.0004, 0.1, "0.00", "0.10"},
		{1e-9, 1e-9, "0.000000", "0.000001"},
		{12345, 0.29, "12345.00", "0.29"},
	}
	for _, tt := range tests {
		f := figureOf(verdict.Judged{Reading: analysis.Reading{Quantity: "x", Value: tt.value, Uncertainty: tt.u}})
		if f.value != tt.wantV || f.uncertainty != tt.want {
			t.Errorf("%v ± %v: got %q ± %q, want %q ± %q", tt.value, tt.u, f.value, f.uncertainty, tt.wantV, tt.want)
		}
	}
}

func TestFigures(t *testing.T) {
	tenth := 0.1 // a variable: constants would add exactly
	p := func(v float64) *float64 { return &v }
	reading := func(unit string, v, u float64) analysis.Reading {
		return analysis.Reading{Quantity: "x", Unit: unit, Value: v, Uncertainty: u}
	}
	bound := reading("dBu", -101.26, 0)
	bound.UpperBound = true
	above := reading("Hz", 21456, 120)
	above.LowerBound = true
	polarity := func(v float64) analysis.Reading {
		return analysis.Reading{Quantity: analysis.PolarityMatch, Unit: "1", Value: v}
	}
	tests := []struct {
		name string
		in   verdict.Judged
		want figure
	}{
		{"range in dB is signed", verdict.Judged{Reading: reading("dB", -0.173, 0.0042), Limit: &verdict.Limit{Min: p(-0.25), Max: p(0.25)}},
			figure{"−0.1730 dB", "0.0042", "−0.25 to +0.25 dB", "+0.0770"}},
		{"level has a decimal", verdict.Judged{Reading: reading("dBu", -91.23, 0.6), Limit: &verdict.Limit{Max: p(-85)}},
			figure{"−91.23 dBu", "0.60", "at most −85.0 dBu", "+6.23"}},
		{"outside is negative", verdict.Judged{Reading: reading("dBu", -80, 0.6), Limit: &verdict.Limit{Max: p(-85)}},
			figure{"−80.00 dBu", "0.60", "at most −85.0 dBu", "−5.00"}},
		{"limit decides kHz", verdict.Judged{Reading: reading("Hz", 9800, 120), Limit: &verdict.Limit{Min: p(15000)}},
			figure{"9.80 kHz", "0.12", "at least 15 kHz", "−5.20"}},
		{"value decides kHz", verdict.Judged{Reading: reading("Hz", 21456, 120), Limit: &verdict.Limit{Min: p(9000)}},
			figure{"21.46 kHz", "0.12", "at least 9 kHz", "+12.46"}},
		{"below 10 kHz stays Hz", verdict.Judged{Reading: reading("Hz", 8.31, 0.1)},
			figure{"8.31 Hz", "0.10", "—", "—"}},
		{"long delays are ms", verdict.Judged{Reading: reading("µs", 12345.6, 0.11)},
			figure{"+12.34560 ms", "0.00011", "—", "—"}},
		{"bound is rounded up", verdict.Judged{Reading: bound, Limit: &verdict.Limit{Max: p(-85)}},
			figure{"< −101.2 dBu", "—", "at most −85.0 dBu", "> +16.3"}},
		{"bound above the limit has no margin", verdict.Judged{Reading: bound, Limit: &verdict.Limit{Max: p(-110)}},
			figure{"< −101.2 dBu", "—", "at most −110.0 dBu", "—"}},
		{"lower bound is rounded down", verdict.Judged{Reading: above, Limit: &verdict.Limit{Min: p(15000)}},
			figure{"> 21.45 kHz", "—", "at least 15 kHz", "> +6.46"}},
		{"bound that cannot be told keeps its figure", verdict.Judged{Reading: bound, Limit: &verdict.Limit{Max: p(-110)}, Verdict: verdict.NotMeasured},
			figure{"< −101.2 dBu", "—", "at most −110.0 dBu", "—"}},
		{"same polarity", verdict.Judged{Reading: polarity(1), Limit: &verdict.Limit{Min: p(1), Max: p(1)}},
			figure{"same", "—", "same", "—"}},
		{"inverted polarity", verdict.Judged{Reading: polarity(-1), Limit: &verdict.Limit{Min: p(1)}},
			figure{"inverted", "—", "same", "—"}},
		{"count", verdict.Judged{Reading: reading("", 3, 0), Limit: &verdict.Limit{Max: p(0)}},
			figure{"3", "—", "at most 0", "−3"}},
		{"not measured has no figure", verdict.Judged{Reading: reading("dB", 0, 0), Limit: &verdict.Limit{Max: p(1)}, Verdict: verdict.NotMeasured, Absent: true},
			figure{"—", "—", "at most +1 dB", "—"}},
		{"not a number has no figure", verdict.Judged{Reading: reading("dB", math.NaN(), 1)},
			figure{"—", "—", "—", "—"}},
		{"binary fractions do not show", verdict.Judged{Reading: reading("dB", 0, 0.1), Limit: &verdict.Limit{Max: p(tenth + 2*tenth)}},
			figure{"0.00 dB", "0.10", "at most +0.3 dB", "+0.30"}},
	}
	for _, tt := range tests {
		if got := figureOf(tt.in); got != tt.want {
			t.Errorf("%s:\n got %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

func TestLimitsBetweenMaskPointsAreRounded(t *testing.T) {
	low, high := -2.96229431, 15000.0
	if got := limitWords(&verdict.Limit{Min: &low}, 1, "dB"); got != "at least −2.962 dB" {
		t.Errorf("limit reads %q", got)
	}
	if got := limitWords(&verdict.Limit{Max: &high}, 1e-3, "kHz"); got != "at most 15 kHz" {
		t.Errorf("limit reads %q", got)
	}
}
