package change

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

func readingOf(quantity string, value float64, b ...analysis.Contribution) verdict.Judged {
	j := gainOf(value, b...)
	j.Quantity, j.Unit, j.FrequencyHz, j.Harmonic = quantity, analysis.UnitOf(quantity), 0, 0
	if quantity == analysis.HumHarmonic {
		j.Harmonic = 5
	}
	return j
}

func scatter(std float64) analysis.Contribution {
	return analysis.Contribution{Source: sourceScatter, Kind: "A", Std: std}
}

func ofTheBench(std float64) analysis.Contribution {
	return analysis.Contribution{Source: sourceFloor, Kind: "B", Std: std, Rectangular: true}
}

func shareOf(trials int, hit func() bool) float64 {
	n := 0
	for range trials {
		if hit() {
			n++
		}
	}
	return float64(n) / float64(trials)
}

// The sine of a phase that nobody knows, one and two of them beside noise and a
// rectangular part, against SciPy: scipy.stats.arcsine in bins, convolved.
func TestOutsideLineAtAnyPhase(t *testing.T) {
	type in struct {
		D, Normal, Limit float64
		Swings           []float64
	}
	var cases []in
	for _, normal := range []float64{0.05, 0.4, 1} {
		for _, swings := range [][]float64{{1}, {1, 1}, {1, 0.3}} {
			for _, limit := range []float64{0, 0.6} {
				for _, d := range []float64{0.3, 0.9, 1.4, 1.9} {
					cases = append(cases, in{d, normal, limit, swings})
				}
			}
		}
	}
	want := scipy(t, cases, `from scipy.signal import fftconvolve
out = []
h = 1e-3; x = np.arange(-8000, 8001)*h; edges = np.append(x-h/2, x[-1]+h/2)
for c in p:
    f = np.diff(stats.norm.cdf(edges, 0, c["Normal"]))
    parts = [stats.arcsine(-a, 2*a) for a in c["Swings"]] + ([stats.uniform(-c["Limit"], 2*c["Limit"])] if c["Limit"] else [])
    for q in parts:
        f = fftconvolve(f, np.diff(q.cdf(edges)), "same")
    cdf = np.append(0, np.cumsum(f))
    out.append(1 - np.interp(c["D"], edges, cdf) + np.interp(-c["D"], edges, cdf))
answer(out)`)
	worst := 0.0
	for i, c := range cases {
		b := analysis.Budget{noise(c.Normal), loading(c.Limit / math.Sqrt(3))}
		for _, a := range c.Swings {
			b = append(b, analysis.Contribution{Source: sourceLine + sideNow, Kind: "B", Std: a / math.Sqrt2, Rectangular: true})
		}
		got := chance(b, c.D)
		worst = math.Max(worst, math.Abs(got-want[i]))
		if math.Abs(got-want[i]) > 2e-4 {
			t.Errorf("%+v: p is %.5f, SciPy has %.5f", c, got, want[i])
		}
	}
	t.Logf("worst deviation from SciPy's convolution: %.2g", worst)
}

// Two levels of a weak line, in dBu: the z test is that of their volts, by
// scipy.stats.norm.
func TestOutsideLinesAreComparedInVolts(t *testing.T) {
	in := [][4]float64{{1e-6, 2e-6, 2e-7, 3e-7}, {1e-6, 1.2e-6, 1e-7, 1e-7}, {5e-6, 4e-6, 9e-7, 8e-7}, {1e-6, 1e-6, 1e-8, 1e-8}}
	want := scipy(t, in, "answer([2*stats.norm.sf(abs(b-a)/np.hypot(s, u)) for a, b, s, u in p])")
	for i, c := range in {
		r := compareReadings(readingOf(analysis.HumHarmonic, analysis.DBu(c[0]), scatter(analysis.DBFromRelative(c[2]/c[0]))),
			readingOf(analysis.HumHarmonic, analysis.DBu(c[1]), scatter(analysis.DBFromRelative(c[3]/c[1]))), sameProfile, nil)
		if math.Abs(*r.P-want[i]) > 1e-9 {
			t.Errorf("%v V: p is %.6f, SciPy has %.6f", c, *r.P, want[i])
		}
	}
}

// Monte Carlo: a line six standard uncertainties above nothing, and one with the
// bench's own at another phase each time.
func TestUnchangedLinesAreCalledChangedAsOftenAsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const trials = 6000
	for name, own := range map[string]float64{"weak": 0, "beside the bench's own": 2} {
		read := func() verdict.Judged {
			v := 6 + rng.NormFloat64()
			if own > 0 {
				v = 40 + 0.3*rng.NormFloat64() + own*math.Cos(2*math.Pi*rng.Float64())
			}
			std := map[bool]float64{true: 0.3, false: 1}[own > 0]
			return readingOf(analysis.HumHarmonic, analysis.DB(v), scatter(analysis.DBFromRelative(std/v)), ofTheBench(analysis.DBFromRelative(own/math.Sqrt2/v)))
		}
		called := shareOf(trials, func() bool { return *compareReadings(read(), read(), sameProfile, nil).P <= Alpha })
		t.Logf("%s: %.2f %% called changed", name, 100*called)
		// Four standard deviations of a share of 0.05 in 6,000 are 0.0113.
		if math.Abs(called-0.05) > 0.0113 {
			t.Errorf("%s: %.4f of unchanged lines are called changed", name, called)
		}
	}
}

// Monte Carlo: curves whose points scatter as stated, under one profile, and
// under two with a shift of all points besides; and a loss of treble of a fifth of that
// shift, which only the bands against each other show.
func TestUnchangedCurvesAreCalledChangedAsOftenAsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 4))
	const trials = 3000
	const noiseStd, sharedStd = 0.004, 0.05
	// Noise through one gate is correlated between neighbouring points.
	hz := grid()
	alike := mat.NewSymDense(len(hz), nil)
	for i := range hz {
		for j := range i + 1 {
			alike.SetSym(i, j, analysis.NoiseCorrelation(hz[i], hz[j]))
		}
		alike.SetSym(i, i, 1+1e-9)
	}
	var root mat.Cholesky
	if !root.Factorize(alike) {
		t.Fatal("the noise's correlations are none")
	}
	var half mat.TriDense
	root.LTo(&half)
	read := func(shift float64) analysis.Curve {
		white, noise := mat.NewVecDense(len(hz), nil), mat.NewVecDense(len(hz), nil)
		for i := range hz {
			white.SetVec(i, rng.NormFloat64())
		}
		noise.MulVec(&half, white)
		c := responseOf("A", level(shift))
		for i := range c.FrequencyHz {
			c.Value[i] += noiseStd * noise.AtVec(i)
			c.NoiseUncertainty[i], c.Uncertainty[i] = 2*noiseStd, 2*math.Hypot(noiseStd, sharedStd)
		}
		c.SharedUncertainty = 2 * sharedStd
		return c
	}
	one := shareOf(trials, func() bool { return compareCurve(read(0), read(0), sameProfile, 0).P <= Alpha })
	two := shareOf(trials, func() bool {
		return compareCurve(read(sharedStd*rng.NormFloat64()), read(sharedStd*rng.NormFloat64()), Ties{Method: true}, 0).P <= Alpha
	})
	t.Logf("one profile: %.2f %%, two: %.2f %%", 100*one, 100*two)
	// Four standard deviations of a share of 0.05 in 3,000 are 0.016.
	if math.Abs(one-0.05) > 0.016 || math.Abs(two-0.05) > 0.016 {
		t.Errorf("%.4f of unchanged curves are called changed, %.4f under two profiles", one, two)
	}
	dull := read(sharedStd)
	for i, f := range dull.FrequencyHz {
		dull.Value[i] += lowPass(100e3)(f) / lowPass(100e3)(16000) * -sharedStd / 5
	}
	if k := compareCurve(read(0), dull, Ties{Method: true}, 0); k.P > 1e-3 || k.WorstHz < 8000 {
		t.Errorf("a loss of treble has p %g at %g Hz", k.P, k.WorstHz)
	}
	// Gates that are the same at both calibrations hide nothing on one interface.
	gated := func(c analysis.Curve) analysis.Curve {
		for i, u := range c.Uncertainty {
			c.Uncertainty[i], c.LoopNoiseUncertainty = math.Hypot(u, 2*sharedStd), append(c.LoopNoiseUncertainty, noiseStd)
		}
		return c
	}
	dull = gated(dull)
	if k := compareCurve(gated(read(0)), dull, Ties{Interface: true, Method: true}, 0); k.P > 0.01 || k.WorstHz < 8000 {
		t.Errorf("one interface: a loss of treble has p %g at %g Hz", k.P, k.WorstHz)
	}
	if k := compareCurve(gated(read(0)), dull, Ties{Method: true}, 0); k.P < 0.5 {
		t.Errorf("another interface: a loss of treble has p %g at %g Hz", k.P, k.WorstHz)
	}
	dull.SharedUncertainty = 0
	if k := compareCurve(read(0), dull, Ties{Method: true}, 0); k.P < 0.5 {
		t.Errorf("a curve that does not say what its points share: p %g at %g Hz", k.P, k.WorstHz)
	}
}

// The bench's own distortion adds alike under one profile; THD+N is tested only
// where its budget says what the bench's own hum does.
func TestDistortionOfTheBench(t *testing.T) {
	thd := func(value float64) verdict.Judged {
		return readingOf(analysis.THD, value, noise(1e-4), ofTheBench(1e-2))
	}
	if r := compareReadings(thd(0.05), thd(0.051), sameProfile, nil); *r.P > 1e-9 {
		t.Errorf("one profile: p is %g", *r.P)
	}
	if r := compareReadings(thd(0.05), thd(0.051), Ties{Interface: true, Method: true}, nil); *r.P < 0.5 {
		t.Errorf("two profiles: p is %g", *r.P)
	}
	bare, whole := readingOf(analysis.THDN, 0.05, scatter(1e-4)), readingOf(analysis.THDN, 0.052, scatter(1e-4), ofTheBench(1e-3))
	for name, c := range map[string]struct {
		before, after verdict.Judged
		tested        bool
	}{"both": {whole, whole, true}, "then not": {bare, whole, false}, "now not": {whole, bare, false}} {
		if r := compareReadings(c.before, c.after, sameProfile, nil); (r.P != nil) != c.tested || c.tested == (r.Outcome == CannotTell) {
			t.Errorf("%s: p %v, %s", name, r.P, r.Outcome)
		}
	}
}

// What is beyond scatter by itself at 4.5 % is not yet a change of the board.
func TestABoardIsHeldToLessThanOneReading(t *testing.T) {
	// A difference of 2.005 standard uncertainties, two-sided 4.5 % of a normal.
	outcome := func(z float64) Outcome {
		var before, after Side
		before.Readings = append(before.Readings, gainOf(0, noise(1)))
		after.Readings = append(after.Readings, gainOf(z*math.Sqrt2, noise(1)))
		return Compare(before, after, sameProfile).Rows[0].Outcome
	}
	if one, more := outcome(2.005), outcome(2.2); one != Maybe || more != Real {
		t.Errorf("at 4.5 %%: %v, at 2.8 %%: %v", one, more)
	}
}
