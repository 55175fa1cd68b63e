package change

import (
	"math"
	"slices"

	"boardproof/analysis"

	"gonum.org/v1/gonum/stat/distuv"
)

// chance is the probability that an error with budget b is, in either sense,
// as large as d: the p value of a difference d of two readings of one thing.
// The contributions keep their distributions (JCGM 101:2008, 5.3 and 6.4): normal, rectangular,
// or that of a line of the bench at a phase that nobody knows, an arc sine. Where there is
// but one rectangular one that is a closed form; otherwise the characteristic
// function of their sum is inverted (Gil-Pelaez, Biometrika 38, 1951; from memory).
//
// Degrees of freedom are taken as infinite: a budget does not hold them.
func chance(b analysis.Budget, d float64) float64 {
	d = math.Abs(d)
	std := b.Std()
	switch {
	case math.IsNaN(d):
		return math.NaN()
	case d == 0:
		return 1
	case std == 0:
		return 0
	}
	var e mixture
	for _, c := range b {
		share := c.Std / std
		switch {
		case share > 0.02 && isLine(c.Source):
			e.swings = append(e.swings, math.Sqrt2*share)
		case share > 0.02 && c.Rectangular:
			e.limits = append(e.limits, math.Sqrt(3)*share)
		default:
			e.normal = math.Hypot(e.normal, share)
		}
	}
	if len(e.limits) < 2 && len(e.swings) == 0 {
		return math.Min(1, 2*b.Beyond(d))
	}
	return math.Min(1, math.Max(0, 1-e.within(d/std)))
}

// mixture is the sum of a normal variate of a standard deviation, rectangular
// ones within ± their limits, and sines of amplitudes at phases all alike likely.
type mixture struct {
	normal         float64
	limits, swings []float64
}

// within is the probability that the sum, of standard deviation 1, lies within ±x:
//
//	2/π ∫ sin(x·t)/t · φ(t) dt, t from 0 to ∞
//
// The trapezium rule is exact but for what lies beyond 2π/h − x, where nothing is.
func (e mixture) within(x float64) float64 {
	if x >= sum(e.limits)+sum(e.swings)+9*e.normal {
		return 1
	}
	const top, steps = 400.0, 8000
	const h = top / steps
	total := x / 2 // the first point of the trapezium, at t = 0
	for i := 1; i < steps; i++ {
		t := h * float64(i)
		if e.normal*t > 9 {
			break
		}
		phi := math.Exp(-e.normal * e.normal * t * t / 2)
		for _, l := range e.limits {
			phi *= math.Sin(l*t) / (l * t)
		}
		for _, a := range e.swings {
			phi *= math.J0(a * t)
		}
		total += math.Sin(x*t) / t * phi
	}
	return 2 / math.Pi * h * total
}

func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}

// countChance is the p value of two counts over equal times under one rate:
// given their sum, one of them is binomial with a half (Przyborowski &
// Wilenski, Biometrika 31, 1940; from memory). Two-sided, twice the smaller tail.
func countChance(a, b float64) float64 {
	n := a + b
	if n == 0 {
		return 1
	}
	return math.Min(1, 2*distuv.Binomial{N: n, P: 0.5}.CDF(math.Min(a, b)))
}

// Alpha is the level of every test by itself: two-sided 5 %. BoardAlpha is that
// of all tests of a board together: what is said of a board is said at 5 %, and
// the fifth that is left covers that no budget is known to better than that.
const Alpha, BoardAlpha = 0.05, 0.04

// holm returns p values adjusted for being taken all together: each is the
// smallest level at which its test is still rejected by Holm's procedure
// (Scandinavian Journal of Statistics 6, 1979; from memory), which holds
// however the tests depend on one another.
func holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	out := make([]float64, len(p))
	worst := 0.0
	for rank, i := range order {
		worst = math.Max(worst, math.Min(1, p[i]*float64(len(p)-rank)))
		out[i] = worst
	}
	return out
}
