package change

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/analysis"

	"gonum.org/v1/gonum/mat"
)

// mixed is a series over several profiles, interfaces and methods, whose
// budgets hold sources of every reach, one of them twice.
func mixed(rng *rand.Rand, n int) []Point {
	points := series(rng, n, 0.02, 0.03, 0)
	for i := range points {
		p := &points[i]
		p.Profile = fmt.Sprint("p", rng.IntN(n/8+2))
		p.Interface, p.Method = fmt.Sprint("x", rng.IntN(2)), fmt.Sprint(1+rng.IntN(2))
		if i%11 == 0 {
			p.Profile = ""
		}
		add := func(source string, rectangular bool) {
			p.Reading.Budget = append(p.Reading.Budget, analysis.Contribution{Source: source, Kind: "B", Std: 0.01 * (1 + rng.Float64()), Rectangular: rectangular})
		}
		for _, source := range []string{sourcePlug, "multimeter's accuracy", "gate of the impulse response", "clock of the interface", "never heard of"} {
			if rng.IntN(4) > 0 {
				add(source, false)
			}
		}
		add(sourcePlug, false)
		add(sourceFloor, rng.IntN(2) == 0)
	}
	return points
}

// The line and its chi-square are those of generalised least squares with the
// covariance of every pair, worked out here as Aitken (1935) writes it.
func TestTrendIsThatOfAllCovariances(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for _, n := range []int{3, 10, 60} {
		points := mixed(rng, n)
		v, x, y := mat.NewSymDense(n, nil), mat.NewDense(n, 2, nil), mat.NewVecDense(n, nil)
		for i, p := range points {
			for j, q := range points[i:] {
				v.SetSym(i, i+j, covariance(budgetOf(p.Reading), budgetOf(q.Reading), p.ties(q)))
			}
			v.SetSym(i, i, math.Pow(p.Reading.Budget.Std(), 2))
			x.SetRow(i, []float64{1, p.At.Sub(points[0].At).Seconds() / secondsPerYear})
			y.SetVec(i, p.Reading.Value)
		}
		var vi, normal, inverse mat.Dense
		var right, line, left, weighed mat.VecDense
		if err := vi.Inverse(v); err != nil {
			t.Fatal(err)
		}
		normal.Product(x.T(), &vi, x)
		if err := inverse.Inverse(&normal); err != nil {
			t.Fatal(err)
		}
		weighed.MulVec(&vi, y)
		right.MulVec(x.T(), &weighed)
		line.MulVec(&inverse, &right)
		left.MulVec(x, &line)
		left.SubVec(y, &left)
		weighed.MulVec(&vi, &left)
		got, err := FitTrend(points)
		if err != nil {
			t.Fatal(err)
		}
		stated := got.PerYearUncertainty / 2
		if got.Scattered {
			stated /= math.Sqrt(got.ChiSquare / float64(got.DOF))
		}
		for what, pair := range map[string][2]float64{"at the start": {got.AtStart, line.AtVec(0)}, "slope": {got.PerYear, line.AtVec(1)},
			"its uncertainty": {stated, math.Sqrt(inverse.At(1, 1))}, "chi-square": {got.ChiSquare, mat.Dot(&left, &weighed)}} {
			if math.Abs(pair[0]-pair[1]) > 1e-6*(1e-3+math.Abs(pair[1])) {
				t.Errorf("%d points, %s: %.9g, with the whole matrix %.9g", n, what, pair[0], pair[1])
			}
		}
	}
}

// A bench's life of runs: time and memory in proportion to the points.
func BenchmarkFitTrend(b *testing.B) {
	for _, n := range []int{1000, 10000, 50000} {
		points := mixed(rand.New(rand.NewPCG(1, 1)), n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := FitTrend(points); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/point")
		})
	}
}
