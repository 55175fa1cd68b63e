package change

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/internal/scipytest"
	"boardproof/analysis/verdict"
)

// scipy runs a script with p.
func scipy(t *testing.T, p any, script string) []float64 {
	t.Helper()
	return scipytest.Run(t, nil, p, script)
}

func gainOf(value float64, b ...analysis.Contribution) verdict.Judged {
	budget := analysis.Budget(b)
	return verdict.Judged{Step: "path", Reading: analysis.Reading{Quantity: analysis.Gain, Output: "A", FrequencyHz: 1000,
		Value: value, Unit: "dB", Uncertainty: budget.Expanded(), K: 2, Budget: budget}}
}

func noise(std float64) analysis.Contribution {
	return analysis.Contribution{Source: "noise recorded beside the signal", Kind: "A", Std: std}
}

func loading(std float64) analysis.Contribution {
	return analysis.Contribution{Source: "loading of the output in the loopback", Kind: "B", Std: std, Rectangular: true}
}

var sameProfile = Ties{Profile: true, Interface: true, Method: true}

// statsmodels' and SciPy's z test of two samples with known variances is that
// of a normal difference; scipy.stats.norm gives its p.
func TestOutsideDifferenceIsTheZTest(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	var in [][4]float64
	for range 40 {
		in = append(in, [4]float64{rng.NormFloat64(), rng.NormFloat64(), 0.1 + rng.Float64(), 0.1 + rng.Float64()})
	}
	want := scipy(t, in, "answer([2*stats.norm.sf(abs(b-a)/np.hypot(s, u)) for a, b, s, u in p])")
	worst := 0.0
	for i, c := range in {
		r := compareReadings(gainOf(c[0], noise(c[2])), gainOf(c[1], noise(c[3])), sameProfile, nil)
		worst = math.Max(worst, math.Abs(*r.P-want[i]))
		if math.Abs(r.Difference-(c[1]-c[0])) > 1e-12 || math.Abs(r.Uncertainty-2*math.Hypot(c[2], c[3])) > 1e-12 {
			t.Errorf("difference %g ± %g", r.Difference, r.Uncertainty)
		}
	}
	t.Logf("worst deviation of p from SciPy: %.2g", worst)
	if worst > 1e-12 {
		t.Errorf("p is off by %g", worst)
	}
}

// Two samples of 4,000 each: where the standard uncertainties are those of
// their means, the p value is that of scipy.stats.ttest_ind (Welch), whose t
// distribution is all but normal by then.
func TestOutsideDifferenceIsTheTTestOfLargeSamples(t *testing.T) {
	in := map[string]any{"seed": 7, "n": 4000, "shifts": []float64{0, 0.01, 0.03, 0.05}}
	got := scipy(t, in, `
r = np.random.default_rng(p["seed"]); out = []
for s in p["shifts"]:
    a, b = r.normal(0, 1, p["n"]), r.normal(s, 1.3, p["n"])
    out += [a.mean(), b.mean(), a.std(ddof=1)/np.sqrt(p["n"]), b.std(ddof=1)/np.sqrt(p["n"]), stats.ttest_ind(a, b, equal_var=False).pvalue]
answer(out)`)
	worst := 0.0
	for i := 0; i < len(got); i += 5 {
		r := compareReadings(gainOf(got[i], noise(got[i+2])), gainOf(got[i+1], noise(got[i+3])), sameProfile, nil)
		worst = math.Max(worst, math.Abs(*r.P-got[i+4]))
	}
	t.Logf("worst deviation of p from Welch's t test: %.2g", worst)
	if len(got) != 20 || worst > 2e-4 {
		t.Errorf("%d figures, p off by %g", len(got), worst)
	}
}

// The p value with rectangular contributions, two alike and more, against
// numerical convolution in SciPy.
func TestOutsideRectangularDifference(t *testing.T) {
	type in struct {
		D, Normal float64
		Limits    []float64
	}
	var cases []in
	for _, normal := range []float64{0.02, 0.3, 1} {
		for _, limits := range [][]float64{{1}, {1, 1}, {1, 0.4}, {1, 0.7, 0.2}} {
			for _, d := range []float64{0.2, 0.9, 1.5, 2.2} {
				cases = append(cases, in{d, normal, limits})
			}
		}
	}
	want := scipy(t, cases, `from scipy.signal import fftconvolve
out = []
for c in p:
    h = 1e-3; x = np.arange(-8, 8+h/2, h)
    f = stats.norm.pdf(x, 0, c["Normal"])
    for l in c["Limits"]:
        box = np.where(np.abs(x) < l-h/4, 1/(2*l), 0); box[np.abs(np.abs(x)-l) <= h/4] = 1/(4*l)
        f = fftconvolve(f, box, "same")*h
    inside = np.abs(x) <= c["D"]+h/4
    out.append(1 - integrate.trapezoid(f[inside], x[inside]))
answer(out)`)
	worst := 0.0
	for i, c := range cases {
		b := analysis.Budget{noise(c.Normal)}
		for _, l := range c.Limits {
			b = append(b, loading(l/math.Sqrt(3)))
		}
		off := math.Abs(chance(b, c.D) - want[i])
		worst = math.Max(worst, off)
		if off > 2e-4 {
			t.Errorf("%+v: p is %.5f, SciPy has %.5f", c, chance(b, c.D), want[i])
		}
	}
	t.Logf("worst deviation from SciPy's convolution: %.2g", worst)
	two := analysis.Budget{loading(1 / math.Sqrt(3)), loading(1 / math.Sqrt(3))}
	// Two alike and nothing else are a triangle: (1 − x/2)².
	if p := chance(two, 1.2); math.Abs(p-0.16) > 1e-5 {
		t.Errorf("a triangle's tail is %g, want 0.16", p)
	}
	if p := chance(two, 50); p != 0 {
		t.Errorf("beyond all limits p is %g", p)
	}
}

// What cancels and what does not, row by row of the table of the package.
func TestWhatCancels(t *testing.T) {
	others := Ties{Interface: true, Method: true}
	none := Ties{Method: true}
	for source, want := range map[string][3]bool{ // same profile, same interface, neither
		"noise recorded beside the signal":             {},
		"scatter of the noise itself":                  {},
		"events and echoes in the record":              {},
		"level not steady":                             {},
		"multimeter's accuracy":                        {true},
		"multimeter's last digit":                      {true},
		"known source's accuracy":                      {true},
		"noise recorded beside the known source":       {true},
		"noise when the bench was calibrated":          {true},
		"repeatability of the loopback lead":           {true},
		"delay of the loopback lead":                   {true},
		"delay of the loopback lead, of the reference": {true},
		"loading of the output in the loopback":        {true},
		"what the bench itself adds":                   {true},
		"input's share of the bench's own response":    {true, true},
		"clock of the interface":                       {true, true},
		"gate of the loopback's response":              {true, true},
		"gate of the impulse response":                 {true, true, true},
		"weighting curve":                              {true, true, true},
		"edge of the noise band":                       {true, true, true},
		"what is meant by a delay":                     {true, true, true},
		"which of several is the extreme":              {},
		"something that nobody has heard of":           {},
	} {
		for i, ties := range []Ties{sameProfile, others, none} {
			c := analysis.Contribution{Source: source, Kind: "B", Std: 0.3}
			std := between(analysis.Budget{c}, analysis.Budget{c}, ties).Std()
			wantStd := 0.3 * math.Sqrt2
			if want[i] {
				wantStd = 0
			}
			if math.Abs(std-wantStd) > 1e-12 {
				t.Errorf("%s, %+v: %g is left, want %g", source, ties, std, wantStd)
			}
			if v := 2*0.09 - 2*covariance(analysis.Budget{c}, analysis.Budget{c}, ties); math.Abs(v-wantStd*wantStd) > 1e-12 {
				t.Errorf("%s, %+v: the covariance leaves a variance of %g", source, ties, v)
			}
		}
		if Known(source) == (source == "something that nobody has heard of") {
			t.Errorf("%s: Known says %t", source, Known(source))
		}
	}
	floor := analysis.Contribution{Source: sourceFloor, Kind: "B", Std: 1}
	for quantity, want := range map[string]float64{analysis.Hiss: 0, analysis.Noise: math.Sqrt2} {
		b := budgetOf(analysis.Reading{Quantity: quantity, Budget: analysis.Budget{floor}})
		if std := between(b, b, sameProfile).Std(); std != want {
			t.Errorf("the floor of %s leaves %g, want %g", quantity, std, want)
		}
	}
	lines := analysis.Contribution{Source: "what the bench itself adds", Kind: "B", Std: 1, Rectangular: true}
	if std := between(analysis.Budget{lines}, analysis.Budget{lines}, sameProfile).Std(); std != math.Sqrt2 {
		t.Errorf("lines at a phase of their own leave %g", std)
	}
	if b := between(analysis.Budget{loading(0.5)}, analysis.Budget{loading(0.3)}, sameProfile); math.Abs(b.Std()-0.2) > 1e-12 {
		t.Errorf("unequal shares leave %g", b.Std())
	}
	if b := between(analysis.Budget{loading(0.5)}, analysis.Budget{loading(0.5)}, Ties{Profile: true, Interface: true}); b.Std() == 0 {
		t.Error("another method cancels nothing")
	}
}

// Monte Carlo (JCGM 101): errors drawn as stated, a shared part drawn once,
// and how often an unchanged board is called changed.
func TestUnchangedIsCalledChangedAsOftenAsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	evenly := func(std float64) float64 { return math.Sqrt(3) * std * (2*rng.Float64() - 1) }
	const trials = 6000
	for name, ties := range map[string]Ties{"same profile": sameProfile, "another": {Interface: true, Method: true}} {
		called := 0
		for range trials {
			shared := evenly(0.06)
			now := shared
			if !ties.Profile {
				now = evenly(0.06)
			}
			r := compareReadings(gainOf(0.01*rng.NormFloat64()+shared, noise(0.01), loading(0.06)),
				gainOf(0.02*rng.NormFloat64()+now, noise(0.02), loading(0.06)), ties, nil)
			if *r.P <= Alpha {
				called++
			}
		}
		// Four standard deviations of a share of 0.05 in 6,000 are 0.0113.
		share := float64(called) / trials
		t.Logf("%s: %.2f %% called changed", name, 100*share)
		if math.Abs(share-0.05) > 0.0113 {
			t.Errorf("%s: %.4f of unchanged readings are called changed", name, share)
		}
	}
}

// All readings together: with none changed, under 5 % of boards have a real
// change, whether readings are independent or all one and the same.
func TestTogetherUnderFivePercent(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	for name, shared := range map[string]bool{"independent": false, "all the same": true} {
		const boards, readings = 1500, 25
		found := 0
		for range boards {
			var before, after Side
			d := rng.NormFloat64()
			for i := range readings {
				if !shared {
					d = rng.NormFloat64()
				}
				b, a := gainOf(0, noise(1)), gainOf(d*math.Sqrt2, noise(1))
				b.State, a.State = string(rune('a'+i)), string(rune('a'+i))
				before.Readings, after.Readings = append(before.Readings, b), append(after.Readings, a)
			}
			if c := Compare(before, after, sameProfile); c.Rows[0].Outcome == Real {
				found++
			}
		}
		share := float64(found) / boards
		t.Logf("%s: %.2f %% of boards", name, 100*share)
		// Holm's bound is exact for independent ones, near enough: 1 − 0.9984²⁵ = 3.9 %.
		if share > BoardAlpha+4*0.0051 || !shared && share < BoardAlpha-4*0.0051 {
			t.Errorf("%s: %.4f of boards have a real change", name, share)
		}
	}
}

// The example worked by hand: 0.01, 0.04, 0.03 and 0.005 become 0.03, 0.06,
// 0.06 and 0.02.
func TestHolm(t *testing.T) {
	got := holm([]float64{0.01, 0.04, 0.03, 0.005})
	for i, want := range []float64{0.03, 0.06, 0.06, 0.02} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("adjusted to %v", got)
		}
	}
	if p := holm(nil); len(p) != 0 {
		t.Error(p)
	}
}

// scipy.stats.binomtest of one count among both.
func TestOutsideCounts(t *testing.T) {
	in := [][2]float64{{0, 0}, {0, 3}, {0, 6}, {2, 9}, {5, 5}, {40, 22}}
	want := scipy(t, in, "answer([1.0 if a+b == 0 else stats.binomtest(int(a), int(a+b)).pvalue for a, b in p])")
	for i, c := range in {
		if got := countChance(c[0], c[1]); math.Abs(got-want[i]) > 1e-9 {
			t.Errorf("%v: p %g, SciPy has %g", c, got, want[i])
		}
	}
}

func TestBounds(t *testing.T) {
	bound := func(j verdict.Judged, upper, lower bool) verdict.Judged {
		j.UpperBound, j.LowerBound = upper, lower
		return j
	}
	v := func(x float64) verdict.Judged { return gainOf(x, noise(0.1)) }
	for name, c := range map[string]struct {
		before, after verdict.Judged
		outcome       Outcome
		bound         string
	}{
		"rose out of the noise":     {bound(v(-100), true, false), v(-97), Real, "at least"},
		"no more than the bound":    {bound(v(-100), true, false), v(-101), CannotTell, ""},
		"just above the bound":      {bound(v(-100), true, false), v(-99.9), Unchanged, "at least"},
		"sank into the noise":       {v(-97), bound(v(-100), true, false), Real, "at most"},
		"below the bound all along": {v(-101), bound(v(-100), true, false), CannotTell, ""},
		"two bounds":                {bound(v(-100), true, false), bound(v(-90), true, false), CannotTell, ""},
		"fell from beyond the band": {bound(v(22), false, true), v(9), Real, "at most"},
		"rose beyond the band":      {v(9), bound(v(22), false, true), Real, "at least"},
		"two lower bounds":          {bound(v(22), false, true), bound(v(20), false, true), CannotTell, ""},
		"upper, then lower":         {bound(v(1), true, false), bound(v(5), false, true), Real, "at least"},
	} {
		got := Compare(Side{Readings: []verdict.Judged{c.before}}, Side{Readings: []verdict.Judged{c.after}}, sameProfile).Rows[0]
		if got.Outcome != c.outcome || got.Bound != c.bound {
			t.Errorf("%s: %q, %q; want %q, %q", name, got.Outcome, got.Bound, c.outcome, c.bound)
		}
	}
}

func TestPairs(t *testing.T) {
	r := func(step, quantity, output string, hz, value float64) verdict.Judged {
		return verdict.Judged{Step: step, Reading: analysis.Reading{Quantity: quantity, Output: output, FrequencyHz: hz, Value: value, Unit: "dB", Uncertainty: 0.2, K: 2, State: "bypassed"}}
	}
	before := Side{Readings: []verdict.Judged{
		r("path", analysis.Gain, "A", 1000, 0), r("path", analysis.Gain, "B", 1000, 0), r("hush", analysis.OtherTone, "A", 9800, -90),
		r("hush", analysis.OtherTone, "A", 12000, -95), r("hush", analysis.HumHarmonic, "A", 50.01, -90), r("path", analysis.Polarity, "A", 0, 1),
		r("path", analysis.MainsFrequency, "A", 0, 50.01), r("path", analysis.THDN, "A", 1000, 0.1),
	}}
	after := Side{Readings: []verdict.Judged{
		r("signal path", analysis.Gain, "A", 1000.002, 0), r("hush", analysis.OtherTone, "A", 9750, -90),
		r("hush", analysis.HumHarmonic, "A", 49.99, -90), r("path", analysis.Polarity, "A", 0, -1), r("path", analysis.MainsFrequency, "A", 0, 49.98),
		r("path", analysis.THDN, "A", 1000, 4),
	}, Refused: []analysis.Refusal{{Quantity: analysis.Gain, Output: "B", State: "bypassed", Reason: "no signal"}}}
	c := Compare(before, after, sameProfile)
	if len(c.Rows) != 6 || len(c.Unpaired) != 2 {
		t.Fatalf("%d rows, unpaired %+v", len(c.Rows), c.Unpaired)
	}
	if c.Unpaired[0].Reason != "no signal" || c.Unpaired[1].FrequencyHz != 12000 || c.Unpaired[1].Now {
		t.Errorf("unpaired %+v", c.Unpaired)
	}
	if c.Rows[0].After.Quantity != analysis.Polarity || c.Rows[0].Outcome != Real || c.Rows[5].Outcome != NotTheBoard {
		t.Errorf("first %+v, last %+v", c.Rows[0], c.Rows[4])
	}
	if c.Tests != 2 {
		t.Errorf("%d tests", c.Tests)
	}
}

// What the bench's own checks saw it move by is in the uncertainty.
func TestBenchThatMoved(t *testing.T) {
	check := func(v float64) verdict.Judged {
		return verdict.Judged{Reading: analysis.Reading{Quantity: analysis.BenchGainDrift, Output: "A", FrequencyHz: 1000, Value: v, Unit: "dB"}}
	}
	before := Side{Readings: []verdict.Judged{check(-0.005), gainOf(0, noise(0.001))}}
	after := Side{Readings: []verdict.Judged{check(0.010), gainOf(0.014, noise(0.001))}}
	r := Compare(before, after, sameProfile).Rows[0]
	if r.After.Quantity != analysis.Gain || r.Outcome != Unchanged || math.Abs(r.Budget.Std()-math.Hypot(0.015/math.Sqrt(3), 0.001*math.Sqrt2)) > 1e-9 {
		t.Errorf("%+v", r)
	}
	after.Readings[1].Value = 0.05
	if r := Compare(before, after, sameProfile).Rows[0]; r.Outcome != Real {
		t.Errorf("%+v", r)
	}
}

// Of two bounds nothing follows, of a figure beyond a bound a least difference.
func TestCurvesWithBounds(t *testing.T) {
	hz := []float64{1000, 2000, 4000, 8000, 16000}
	curve := func(value []float64, upper []bool) analysis.Curve {
		return analysis.Curve{Quantity: analysis.Response, Unit: "dB", FrequencyHz: hz, Value: value, UpperBound: upper,
			Uncertainty: []float64{0.1, 0.1, 0.1, 0.1, 0.1}, NoiseUncertainty: []float64{0.1, 0.1, 0.1, 0.1, 0.1}}
	}
	before := curve([]float64{0, 0, -10, -40, -60}, []bool{false, false, false, true, true})
	after := curve([]float64{0, -30, -60, -20, -55}, []bool{false, true, false, false, true})
	c := compareCurve(before, after, Ties{Profile: true, Method: true}, 0)
	if want := []float64{0, -30, -50, 20}; !slices.Equal(c.Difference, want) || c.Bounds != 3 {
		t.Errorf("differences %v with %d bounds, want %v with 3", c.Difference, c.Bounds, want)
	}
	// From at most -40 to -50 dB: no change need be.
	after.Value[3] = -50
	if c = compareCurve(before, after, Ties{Profile: true, Method: true}, 0); len(c.Difference) != 3 {
		t.Errorf("a figure under a bound gives differences %v", c.Difference)
	}
}
