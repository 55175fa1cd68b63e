package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/analysis"
)

// The upper tail of the standard normal distribution at z: published tables.
var tails = []struct{ z, tail float64 }{
	{0, 0.5}, {0.5, 0.30854}, {1, 0.15866}, {1.5, 0.06681}, {1.96, 0.02500}, {2, 0.02275},
}

// plain is a reading without a budget.
func plain(value, std float64) analysis.Reading {
	return analysis.Reading{Value: value, Uncertainty: 2 * std, K: 2}
}

// Evenly spread within ±0.3 and a normal 0.1: drawn, and with nothing normal
// in closed form.
func TestChanceWrongOfWhatIsEvenlySpread(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 71))
	const draws = 200000
	even := analysis.Contribution{Source: "meter", Kind: "B", Std: 0.3 / math.Sqrt(3), Rectangular: true}
	noise := analysis.Contribution{Source: "noise", Kind: "A", Std: 0.1}
	for _, value := range []float64{0.65, 0.8, 0.95, 1.1, 1.3} {
		outside := 0.0
		for range draws {
			if value+0.3*(2*rng.Float64()-1)+0.1*rng.NormFloat64() > 1 {
				outside++
			}
		}
		outside /= draws
		o := ConditionalPass
		if value > 1 {
			o, outside = ConditionalFail, 1-outside
		}
		got := chanceWrong(o, analysis.Reading{Value: value, Budget: analysis.Budget{noise, even}}, Limit{Max: at(1)})
		if math.Abs(*got-outside) > 5*math.Sqrt(0.25/draws) {
			t.Errorf("value %g: %.4f, drawn %.4f", value, *got, outside)
		}
		alone := chanceWrong(ConditionalPass, analysis.Reading{Value: value, Budget: analysis.Budget{even}}, Limit{Max: at(1)})
		if want := math.Min(1, math.Max(0, (value+0.3-1)/0.6)); math.Abs(*alone-want) > 1e-9 {
			t.Errorf("value %g, nothing normal: %.4f, want %.4f", value, *alone, want)
		}
	}
}

// Specific risk of a conditional verdict: ILAC-G8:09/2019 quotes 50 % for a
// value on the limit, and under 2.5 % for one a guard band of U inside it.
func TestChanceWrongOneSided(t *testing.T) {
	for _, c := range tails {
		std := 0.25
		inside, outside := 10-c.z*std, 10+c.z*std
		for what, l := range map[string]struct {
			limit Limit
			sign  float64
		}{"upper": {Limit{Max: at(10)}, 1}, "lower": {Limit{Min: at(-10)}, -1}} {
			p := chanceWrong(ConditionalPass, plain(l.sign*inside, std), l.limit)
			f := chanceWrong(ConditionalFail, plain(l.sign*outside, std), l.limit)
			if p == nil || f == nil || math.Abs(*p-c.tail) > 5e-6 || math.Abs(*f-c.tail) > 5e-6 {
				t.Errorf("%s limit, %g standard uncertainties off: pass %v, fail %v, want %g", what, c.z, *p, *f, c.tail)
			}
		}
	}
	for _, o := range []Outcome{Pass, Fail, NotMeasured, ""} {
		if p := chanceWrong(o, plain(9.9, 0.5), Limit{Max: at(10)}); p != nil {
			t.Errorf("%q has a chance of being wrong of %g", o, *p)
		}
	}
}

// Between two limits the truth can be beyond either. Drawn at random, truths
// about the value must fall outside as often as the chance says.
func TestChanceWrongTwoSidedAgainstDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	const draws = 200000
	for _, c := range []struct{ value, std float64 }{{0, 0.8}, {0.9, 0.3}, {-0.7, 1}, {1.2, 0.5}} {
		l := Limit{Min: at(-1), Max: at(1)}
		outside := 0.0
		for range draws {
			if truth := c.value + c.std*rng.NormFloat64(); truth < -1 || truth > 1 {
				outside++
			}
		}
		outside /= draws
		outcome := Judge(c.value, 2*c.std, false, l, Guarded)
		want := outside
		if outcome == ConditionalFail {
			want = 1 - outside
		}
		got := chanceWrong(outcome, plain(c.value, c.std), l)
		// Five standard deviations of a share of so many draws.
		if got == nil || math.Abs(*got-want) > 5*math.Sqrt(0.25/draws) {
			t.Errorf("value %g, standard uncertainty %g, %s: %v, drawn %g", c.value, c.std, outcome, got, want)
		}
	}
}

func TestApplyGivesTheChance(t *testing.T) {
	got := analysis.Result{Readings: []analysis.Reading{
		{Quantity: analysis.Gain, Output: "A", Value: 0.9, Uncertainty: 0.2, K: 2},
		{Quantity: analysis.Gain, Output: "B", Value: 0.1, Uncertainty: 0.2, K: 2},
	}}
	s := Step{Name: "path", Limits: []PlanLimit{{Quantity: analysis.Gain, Max: at(1)}}}
	j := Apply(s, []string{"A", "B"}, Guarded, got)
	if j[0].ChanceWrong == nil || math.Abs(*j[0].ChanceWrong-0.15866) > 5e-6 || j[1].ChanceWrong != nil {
		t.Errorf("chances %v and %v, want 0.15866 and none", j[0].ChanceWrong, j[1].ChanceWrong)
	}
	for _, one := range Apply(s, []string{"A", "B"}, Simple, got) {
		if one.ChanceWrong != nil {
			t.Errorf("simple acceptance has no conditional verdict, output %s a chance of %g", one.Output, *one.ChanceWrong)
		}
	}
}

// U² = 4·(A²·n/N + B²): closed form.
func TestSettle(t *testing.T) {
	a := func(std float64) analysis.Contribution {
		return analysis.Contribution{Source: "noise", Kind: "A", Std: std}
	}
	b := func(std float64) analysis.Contribution {
		return analysis.Contribution{Source: "lead", Kind: "B", Std: std}
	}
	for name, c := range map[string]struct {
		value  float64
		budget analysis.Budget
		taken  int
		more   int
		ok     bool
	}{
		// Half the uncertainty takes four times the takes.
		"noise only":             {0.9, analysis.Budget{a(0.0999)}, 1, 3, true},
		"noise only, of two":     {0.9, analysis.Budget{a(0.0999)}, 2, 6, true},
		"on the failing side":    {1.1, analysis.Budget{a(0.0999)}, 1, 3, true},
		"beside a lead":          {0.9, analysis.Budget{a(0.0799), b(0.03)}, 1, 3, true},
		"the lead is too much":   {0.9, analysis.Budget{a(0.01), b(0.0501)}, 1, 0, false},
		"on the limit":           {1, analysis.Budget{a(0.1)}, 1, 0, false},
		"nothing known of it":    {0.9, nil, 1, 0, false},
		"nothing that was taken": {0.9, analysis.Budget{a(0.1)}, 0, 0, false},
	} {
		j := Judged{Reading: analysis.Reading{Value: c.value, Budget: c.budget}, Limit: &Limit{Max: at(1)}}
		if more, ok := Settle(j, c.taken); more != c.more || ok != c.ok {
			t.Errorf("%s: %d more, %t; want %d, %t", name, more, ok, c.more, c.ok)
		}
	}
}

// A mask's reading carries what its noise makes of it, at its own frequency
// and at the one it is relative to, and the rest: together its uncertainty.
func TestMaskReadingHasABudget(t *testing.T) {
	c := analysis.Curve{
		Quantity: analysis.Response, Output: "A", Unit: "dB", FrequencyHz: []float64{500, 1000, 2000}, Value: []float64{0, 0, 0.9},
		Uncertainty: []float64{0.2, 0.2, 0.25}, NoiseUncertainty: []float64{0.05, 0.06, 0.08}, SharedUncertainty: 0.15,
	}
	m := Mask{RelativeToHz: 1000, Points: []MaskPoint{{FrequencyHz: 500, Max: at(1)}, {FrequencyHz: 2000, Max: at(1)}}}
	j, err := m.worst(c, Guarded)
	if err != nil || j.FrequencyHz != 2000 || j.Verdict != ConditionalPass {
		t.Fatalf("%+v, %v; want a conditional pass at 2 kHz", j, err)
	}
	if got := 2 * j.Budget.Std(); math.Abs(got-j.Uncertainty) > 1e-12 {
		t.Errorf("the budget makes %g, the uncertainty is %g", got, j.Uncertainty)
	}
	if got := 2 * j.Budget[0].Std; j.Budget[0].Kind != "A" || math.Abs(got-0.1) > 1e-12 {
		t.Errorf("type A %g, want √(0.06² + 0.08²)", got)
	}
	if more, ok := Settle(j, 1); ok {
		t.Errorf("%d more sweeps settle what the bench leaves at %g of a margin of 0.1", more, 2*j.Budget[1].Std)
	}
	c.NoiseUncertainty = nil
	if j, err = m.worst(c, Guarded); err != nil || j.Budget != nil {
		t.Errorf("a curve of an older run: budget %v, %v", j.Budget, err)
	}
}
