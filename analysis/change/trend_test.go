package change

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"boardproof/analysis"
)

var start = time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)

func series(rng *rand.Rand, n int, std, perYear, more float64) []Point {
	points := make([]Point, n)
	for i := range points {
		years := float64(i)/10 + 0.02*rng.Float64()
		s := std * (0.5 + rng.Float64())
		points[i] = Point{At: start.Add(time.Duration(years * secondsPerYear * 1e9)), Method: "1", Interface: "x", Profile: "p" + string(rune('a'+i/4)),
			Reading: gainOf(1+perYear*years+math.Hypot(s, more)*rng.NormFloat64(), noise(s)).Reading}
	}
	return points
}

// The same points through scipy.optimize.curve_fit with sigma, once as
// standard deviations and once, where points share a profile's loading, as the
// whole covariance matrix.
func TestOutsideTrendAgreesWithSciPy(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	worst := 0.0
	for _, shared := range []float64{0, 0.05} {
		points := series(rng, 14, 0.02, 0.05, 0)
		type row struct {
			Years, Value, Std float64
			Profile           string
		}
		var in []row
		for i := range points {
			p := &points[i]
			in = append(in, row{p.At.Sub(points[0].At).Seconds() / secondsPerYear, p.Reading.Value, p.Reading.Budget.Std(), p.Profile})
			if shared > 0 {
				p.Reading.Budget = append(p.Reading.Budget, loading(shared))
			}
		}
		want := scipy(t, map[string]any{"rows": in, "shared": shared}, `
r = p["rows"]; x = np.array([a["Years"] for a in r]); y = np.array([a["Value"] for a in r])
v = np.diag([a["Std"]**2 for a in r]) + p["shared"]**2*np.array([[1.0*(a["Profile"] == b["Profile"]) for a in r] for b in r])
sigma = np.sqrt(np.diag(v)) if p["shared"] == 0 else v
c, cov = optimize.curve_fit(lambda x, a, b: a + b*x, x, y, p0=[1, 0], sigma=sigma, absolute_sigma=True)
res = y - c[0] - c[1]*x
chi = float(res @ np.linalg.solve(v, res))
answer([c[0], c[1], 2*np.sqrt(cov[1, 1]), chi, stats.chi2.sf(chi, len(x)-2), 2*stats.norm.sf(abs(c[1])/np.sqrt(cov[1, 1]))])`)
		got, err := FitTrend(points)
		if err != nil {
			t.Fatal(err)
		}
		for i, g := range []float64{got.AtStart, got.PerYear, got.PerYearUncertainty, got.ChiSquare, got.PScatter, got.PDrift} {
			off := math.Abs(g-want[i]) / (1e-3 + math.Abs(want[i]))
			worst = math.Max(worst, off)
			if off > 1e-5 {
				t.Errorf("shared %g, figure %d: %.9g, SciPy has %.9g", shared, i, g, want[i])
			}
		}
	}
	t.Logf("worst relative deviation from curve_fit: %.2g", worst)
}

// More scatter than stated widens the slope as curve_fit does without
// absolute_sigma, and takes Student's t.
func TestOutsideScatteredTrend(t *testing.T) {
	points := series(rand.New(rand.NewPCG(2, 3)), 12, 0.01, 0.1, 0.08)
	var x, y, s []float64
	for _, p := range points {
		x, y, s = append(x, p.At.Sub(points[0].At).Seconds()/secondsPerYear), append(y, p.Reading.Value), append(s, p.Reading.Budget.Std())
	}
	want := scipy(t, [][]float64{x, y, s}, `
x, y, s = map(np.array, p)
c, cov = optimize.curve_fit(lambda x, a, b: a + b*x, x, y, p0=[1, 0], sigma=s)
answer([c[1], 2*np.sqrt(cov[1, 1]), 2*stats.t.sf(abs(c[1])/np.sqrt(cov[1, 1]), len(x)-2)])`)
	got, err := FitTrend(points)
	if err != nil || !got.Scattered {
		t.Fatalf("%+v, %v", got, err)
	}
	for i, g := range []float64{got.PerYear, got.PerYearUncertainty, got.PDrift} {
		if math.Abs(g-want[i]) > 1e-5*(1e-3+math.Abs(want[i])) {
			t.Errorf("figure %d: %.9g, SciPy has %.9g", i, g, want[i])
		}
	}
}

// Without drift 5 % of series are said to drift, whether or not a profile's
// shared error jumps between them.
func TestDriftIsSaidAsOftenAsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	const trials = 2500
	for name, jump := range map[string]float64{"noise alone": 0, "a new profile every four": 0.05} {
		drifts := 0
		for range trials {
			points := series(rng, 12, 0.02, 0, 0)
			shared := map[string]float64{}
			for i := range points {
				p := &points[i]
				if jump > 0 {
					if _, ok := shared[p.Profile]; !ok {
						shared[p.Profile] = jump * rng.NormFloat64()
					}
					p.Reading.Value += shared[p.Profile]
					c := loading(jump)
					c.Rectangular = false
					p.Reading.Budget = append(p.Reading.Budget, c)
				}
			}
			got, err := FitTrend(points)
			if err != nil {
				t.Fatal(err)
			}
			if got.Drifts {
				drifts++
			}
		}
		share := float64(drifts) / trials
		t.Logf("%s: %.2f %% of series without drift are said to drift", name, 100*share)
		// Five per cent within four standard deviations. Those 5 % that scatter by
		// chance have their slope tested against that.
		if math.Abs(share-0.05) > 4*0.0044 {
			t.Errorf("%s: %.4f", name, share)
		}
	}
}

func TestTooFewForATrend(t *testing.T) {
	points := series(rand.New(rand.NewPCG(1, 1)), 4, 0.01, 0, 0)
	points[0].Reading.UpperBound, points[1].Reading.LowerBound = true, true
	if got, err := FitTrend(points); !errors.Is(err, ErrFewPoints) || got.Bounds != 2 || got.N != 2 {
		t.Errorf("%+v, %v", got, err)
	}
	same := series(rand.New(rand.NewPCG(1, 1)), 4, 0.01, 0, 0)
	for i := range same {
		same[i].At = start
	}
	if _, err := FitTrend(same); !errors.Is(err, ErrFewPoints) {
		t.Errorf("one time: %v", err)
	}
	exact := series(rand.New(rand.NewPCG(1, 1)), 4, 0.01, 0, 0)
	for i := range exact {
		exact[i].Reading.Budget, exact[i].Reading.Uncertainty = nil, 0
	}
	if _, err := FitTrend(exact); !errors.Is(err, ErrFewPoints) {
		t.Errorf("no uncertainty: %v", err)
	}
}

// Worked by hand: 1, 2, 4, 3 have moving ranges 1, 2, 1, mean 4/3; three sigma
// are 2.66 times that (constants from memory, as the tables round them).
func TestChart(t *testing.T) {
	c, ok := ControlChart([]float64{1, 2, 4, 3}, make([]string, 4))
	if !ok || c.Centre != 2.5 || math.Abs(c.MeanRange-4.0/3) > 1e-12 || math.Abs(c.Upper-2.5-2.66*4/3) > 0.002 ||
		math.Abs(c.Lower-2.5+2.66*4/3) > 0.002 || math.Abs(c.UpperRange-3.267*4/3) > 1e-9 || c.OutOfControl() {
		t.Errorf("%+v", c)
	}
	// A range across a new profile does not count.
	if c, _ := ControlChart([]float64{0, 1, 50, 51}, []string{"a", "a", "b", "b"}); c.MeanRange != 1 {
		t.Errorf("%+v", c)
	}
	if _, ok := ControlChart([]float64{1, 2}, []string{"a", "b"}); ok {
		t.Error("a chart without a range")
	}
	rng := rand.New(rand.NewPCG(1, 5))
	values := make([]float64, 5000)
	for i := range values {
		values[i] = rng.NormFloat64()
	}
	c, _ = ControlChart(values, make([]string, len(values)))
	// Normal values of sigma 1: limits at ±3, beyond which 0.27 % are.
	if math.Abs(c.Upper-3) > 0.15 || len(c.Beyond) > 30 || len(c.Beyond) < 3 {
		t.Errorf("limits %g to %g, %d beyond", c.Lower, c.Upper, len(c.Beyond))
	}
	if c, _ := ControlChart([]float64{0, 1, 0, 1, 0, 1, 0, 9, 0, 1}, make([]string, 10)); len(c.Beyond) != 1 && c.Run < longRun {
		t.Errorf("one that is far off: %+v", c)
	}
}

// Of the lead's two pluggings in a check of the bench, the profile's is common
// to all checks and today's is each one's own.
func TestChecksPlugAnew(t *testing.T) {
	check := analysis.Reading{Quantity: analysis.BenchGainDrift, Budget: analysis.Budget{{Source: sourcePlug, Kind: "B", Std: 0.003}}}
	b := budgetOf(check)
	if v := covariance(b, b, sameProfile); math.Abs(v-0.003*0.003/2) > 1e-12 || math.Abs(b.Std()-0.003) > 1e-12 {
		t.Errorf("covariance %g of a variance of %g", v, b.Std()*b.Std())
	}
}
