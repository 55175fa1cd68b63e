package verdict

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"boardproof/analysis"
)

func at(v float64) *float64 { return &v }

// The decision rule with guard band w = U: ILAC-G8:09/2019, 4.2.3; JCGM
// 106:2012, as quoted in the project's reference notes. TL = 10, U = 1.
func TestJudgeUpperLimitPublished(t *testing.T) {
	for _, c := range []struct {
		y    float64
		want Outcome
	}{
		{8, Pass}, {9, Pass}, // y = TL − w passes
		{math.Nextafter(9, 10), ConditionalPass}, {9.5, ConditionalPass}, {10, ConditionalPass},
		{math.Nextafter(10, 11), ConditionalFail}, {10.5, ConditionalFail}, {11, ConditionalFail},
		{math.Nextafter(11, 12), Fail}, {100, Fail},
	} {
		if got := Judge(c.y, 1, false, Limit{Max: at(10)}, Guarded); got != c.want {
			t.Errorf("y = %v against an upper limit of 10 with U = 1: %q, want %q", c.y, got, c.want)
		}
		if got := Judge(-c.y, 1, false, Limit{Min: at(-10)}, Guarded); got != c.want {
			t.Errorf("y = %v against a lower limit of -10 with U = 1: %q, want %q", -c.y, got, c.want)
		}
	}
}

func TestJudge(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	both := Limit{Min: at(-1), Max: at(1)}
	for name, c := range map[string]struct {
		y, u  float64
		bound bool
		l     Limit
		rule  Rule
		want  Outcome
	}{
		"two sides, middle":              {0, 0.5, false, both, Guarded, Pass},
		"two sides, near the lower":      {-0.6, 0.5, false, both, Guarded, ConditionalPass},
		"two sides, under the lower":     {-1.2, 0.5, false, both, Guarded, ConditionalFail},
		"two sides, far under":           {-1.6, 0.5, false, both, Guarded, Fail},
		"U wider than the tolerance":     {0, 5, false, both, Guarded, ConditionalPass},
		"U wider, outside":               {3, 5, false, both, Guarded, ConditionalFail},
		"U just half of the tolerance":   {0, 1, false, both, Guarded, Pass},
		"no uncertainty, on the limit":   {1, 0, false, both, Guarded, Pass},
		"a count of zero, none allowed":  {0, 0, false, Limit{Max: at(0)}, Guarded, Pass},
		"polarity as asked for":          {1, 0, false, Limit{Min: at(1), Max: at(1)}, Guarded, Pass},
		"polarity flipped":               {-1, 0, false, Limit{Min: at(1), Max: at(1)}, Guarded, Fail},
		"simple rule, inside":            {0.9, 5, false, both, Simple, Pass},
		"simple rule, outside":           {1.1, 5, false, both, Simple, Fail},
		"bound under its upper limit":    {0.9, 5, true, Limit{Max: at(1)}, Guarded, Pass},
		"bound on its upper limit":       {1, 5, true, Limit{Max: at(1)}, Guarded, Pass},
		"bound above its upper limit":    {1.1, 0, true, Limit{Max: at(1)}, Guarded, NotMeasured},
		"bound against a lower limit":    {1.1, 0, true, Limit{Min: at(1)}, Guarded, NotMeasured},
		"bound under a lower limit":      {0.9, 0, true, Limit{Min: at(1)}, Guarded, Fail},
		"bound between two limits":       {0, 0, true, both, Guarded, NotMeasured},
		"not a number":                   {nan, 1, false, both, Guarded, NotMeasured},
		"minus infinity decibels":        {-inf, 1, false, Limit{Max: at(1)}, Guarded, NotMeasured},
		"uncertainty not a number":       {0, nan, false, both, Guarded, NotMeasured},
		"uncertainty without end":        {0, inf, false, both, Guarded, NotMeasured},
		"uncertainty below zero":         {0, -1, false, both, Guarded, NotMeasured},
		"a bound that is not a number":   {nan, 0, true, Limit{Max: at(1)}, Guarded, NotMeasured},
		"nothing to judge against":       {0, 1, false, Limit{}, Guarded, ""},
		"an unnamed rule guards as well": {0.6, 0.5, false, both, "", ConditionalPass},
	} {
		if got := Judge(c.y, c.u, c.bound, c.l, c.rule); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// With the true value exactly at the limit, one verdict in two is wrong
// (project reference notes, after ILAC-G8:09/2019), and an unconditional pass
// is given in 1 − Φ(2) = 2.275 % of cases: ILAC-G8:09/2019, table 1, states
// under 2.5 % for w = U (from memory).
func TestJudgeChanceOfWrongVerdict(t *testing.T) {
	const n, u, limit = 200_000, 0.3, 7.0
	rng := rand.New(rand.NewPCG(1, 2))
	passed, clear := 0, 0
	for range n {
		o := Judge(limit+u*rng.NormFloat64(), analysis.CoverageK*u, false, Limit{Max: at(limit)}, Guarded)
		if o.Passed() {
			passed++
		}
		if o == Pass {
			clear++
		}
	}
	for _, c := range []struct {
		what string
		got  int
		want float64
	}{{"passed", passed, 0.5}, {"passed without condition", clear, 0.02275}} {
		share := float64(c.got) / n
		// Four standard deviations of the binomial count.
		if tol := 4 * math.Sqrt(c.want*(1-c.want)/n); math.Abs(share-c.want) > tol {
			t.Errorf("truth at the limit: %s in %.5f of cases, want %.5f ± %.5f", c.what, share, c.want, tol)
		}
	}
}

func TestJudgeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-100, 100)
		y, more := value.Draw(t, "y"), rapid.Float64Range(0, 50).Draw(t, "more")
		u := rapid.Float64Range(0, 20).Draw(t, "u")
		a, b := value.Draw(t, "a"), value.Draw(t, "b")
		l := Limit{Min: at(min(a, b)), Max: at(max(a, b))}
		mirror := Limit{Min: at(-*l.Max), Max: at(-*l.Min)}
		o := Judge(y, u, false, l, Guarded)
		if m := Judge(-y, u, false, mirror, Guarded); m != o {
			t.Fatalf("mirrored verdict %q, want %q", m, o)
		}
		upper := Limit{Max: l.Max}
		if lower, higher := Judge(y, u, false, upper, Guarded), Judge(y+more, u, false, upper, Guarded); worse(lower, higher) != higher {
			t.Fatalf("raising y from a verdict of %q improved it to %q", lower, higher)
		}
		if inside := Margin(y, l) >= 0; inside != o.Passed() || inside == o.Failed() {
			t.Fatalf("margin %g and verdict %q disagree", Margin(y, l), o)
		}
	})
}

func TestMargin(t *testing.T) {
	for _, c := range []struct {
		y    float64
		l    Limit
		want float64
	}{
		{3, Limit{Max: at(5)}, 2}, {7, Limit{Max: at(5)}, -2},
		{3, Limit{Min: at(5)}, -2}, {7, Limit{Min: at(5)}, 2},
		{1, Limit{Min: at(0), Max: at(5)}, 1}, {4.5, Limit{Min: at(0), Max: at(5)}, 0.5},
		{-1, Limit{Min: at(0), Max: at(5)}, -1}, {6, Limit{Min: at(0), Max: at(5)}, -1},
	} {
		if got := Margin(c.y, c.l); got != c.want {
			t.Errorf("margin of %g: %g, want %g", c.y, got, c.want)
		}
	}
	if got := Margin(1, Limit{}); !math.IsNaN(got) {
		t.Errorf("margin to no limit: %g, want NaN", got)
	}
}

func TestOverall(t *testing.T) {
	for _, c := range []struct {
		in   []Outcome
		want Outcome
	}{
		{nil, NotMeasured},
		{[]Outcome{"", ""}, NotMeasured},
		{[]Outcome{Pass, "", Pass}, Pass},
		{[]Outcome{Pass, ConditionalPass}, ConditionalPass},
		{[]Outcome{ConditionalPass, NotMeasured, Pass}, NotMeasured},
		{[]Outcome{NotMeasured, ConditionalFail}, ConditionalFail},
		{[]Outcome{ConditionalFail, Fail, NotMeasured}, Fail},
	} {
		var judged []Judged
		for _, o := range c.in {
			judged = append(judged, Judged{Verdict: o})
		}
		got := Overall(judged)
		if got != c.want {
			t.Errorf("overall of %q: %q, want %q", c.in, got, c.want)
		}
	}
	if !ConditionalPass.Passed() || NotMeasured.Passed() || NotMeasured.Failed() || !ConditionalFail.Failed() {
		t.Error("conditional pass must count as passed, conditional fail as failed, not measured as neither")
	}
}

func TestJudgedJSON(t *testing.T) {
	read := Judged{Reading: analysis.Reading{Quantity: "gain", Output: "A", Unit: "dB", K: 2}, Verdict: Pass}
	text, err := json.Marshal(read)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"value":0`, `"uncertainty":0`, `"floor_limited":false`, `"verdict":"pass"`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("JSON of a reading of zero lacks %s: %s", want, text)
		}
	}
	read.Absent, read.Verdict, read.Note = true, NotMeasured, "cable out"
	text, err = json.Marshal(read)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(text), "value") || strings.Contains(string(text), "uncertainty") {
		t.Errorf("JSON of an absent reading has figures: %s", text)
	}
	var back Judged
	if err := json.Unmarshal(text, &back); err != nil || !back.Absent || back.Note != "cable out" || back.Output != "A" {
		t.Errorf("absent reading came back as %+v, %v", back, err)
	}
}
