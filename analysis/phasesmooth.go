package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// smoothPhase is the phase that readings of it, each with its variance, ask for: a
// steady drift and, where the readings show more, a random walk of the frequency
// about it. This is regression with an integrated Wiener process, whose answer is a
// cubic smoothing spline (Wahba 1978; Rasmussen & Williams, Gaussian Processes for
// Machine Learning, sections 2.7 and 6.3); how far the frequency walks is chosen by
// restricted likelihood. Where the readings scatter more than their variances say, as
// those of a mains that flickers do, all variances are as much larger.
type smoothPhase struct {
	lengthS float64
	timesS  []float64 // of the readings, from the start
	// walk is the density of the random walk of the frequency, Hz²/s.
	walk  float64
	order int // of the polynomial
	// scatter is by how much more than stated the readings scatter, in variance.
	scatter float64

	chol     mat.Cholesky
	solvedX  *mat.Dense    // K⁻¹X
	trendCov *mat.SymDense // of trend: (XᵀK⁻¹X)⁻¹
	trend    *mat.VecDense // cycles by power of u
	alpha    *mat.VecDense // K⁻¹·residual
	logLike  float64
}

// walkShown is by how much a walk of the frequency must better the logarithm of the
// likelihood, with one density chosen among many, to be believed: a steady drift
// seems to walk once in some 5,000 records.
const walkShown = 7.0

// newSmoothPhase smooths readings in cycles. A walk above 0 is given, as readings on
// both sides of a gap are too few to tell it.
func newSmoothPhase(timesS, cycles, variances []float64, lengthS, givenWalk float64) *smoothPhase {
	best := fitWalk(timesS, cycles, variances, lengthS, givenWalk)
	if best == nil || givenWalk > 0 {
		return best
	}
	steady, top := best.logLike, best
	for walk := 1e-13; walk < 0.1; walk *= 4 {
		if s := fitWalk(timesS, cycles, variances, lengthS, walk); s != nil && s.logLike > top.logLike {
			top = s
		}
	}
	if top.logLike-steady > walkShown {
		return top
	}
	return best
}

// scatterShown is by how many standard deviations of chance the readings must scatter more
// than stated to be believed.
const scatterShown = 3.0

// fitWalk smooths with one density of the walk; nil where that cannot be solved.
func fitWalk(timesS, cycles, variances []float64, lengthS, walk float64) *smoothPhase {
	n := len(timesS)
	s := &smoothPhase{lengthS: lengthS, timesS: timesS, walk: walk, order: 2}
	if lengthS < 1 || n < 4 {
		s.order = 1
	}
	if n < s.order+1 {
		return nil
	}
	k, x := mat.NewSymDense(n, nil), mat.NewDense(n, s.order+1, nil)
	for i, t := range timesS {
		for j := range i + 1 {
			k.SetSym(i, j, walk*wiener(timesS[j], t))
		}
		k.SetSym(i, i, k.At(i, i)+variances[i])
		x.SetRow(i, s.powers(t))
	}
	if !s.chol.Factorize(k) {
		return nil
	}
	s.solvedX, s.alpha, s.trend = mat.NewDense(n, s.order+1, nil), mat.NewVecDense(n, nil), mat.NewVecDense(s.order+1, nil)
	y := mat.NewVecDense(n, cycles)
	var information mat.Dense
	var of mat.VecDense
	var trends mat.Cholesky
	if s.chol.SolveTo(s.solvedX, x) != nil {
		return nil
	}
	information.Mul(x.T(), s.solvedX)
	of.MulVec(s.solvedX.T(), y)
	sym := mat.NewSymDense(s.order+1, nil)
	for i := range s.order + 1 {
		for j := range i + 1 {
			sym.SetSym(i, j, information.At(i, j))
		}
	}
	s.trendCov = mat.NewSymDense(s.order+1, nil)
	if !trends.Factorize(sym) || trends.SolveVecTo(s.trend, &of) != nil || trends.InverseTo(s.trendCov) != nil {
		return nil
	}
	var residual mat.VecDense
	residual.MulVec(x, s.trend)
	residual.SubVec(y, &residual)
	if s.chol.SolveVecTo(s.alpha, &residual) != nil {
		return nil
	}
	freedom := float64(n - s.order - 1)
	chi2 := mat.Dot(&residual, s.alpha)
	if s.scatter = 1; chi2 > freedom+scatterShown*math.Sqrt(2*freedom) {
		s.scatter = chi2 / freedom
	}
	s.logLike = -0.5 * (s.chol.LogDet() + trends.LogDet() + freedom*math.Log(s.scatter) + chi2/s.scatter)
	return s
}

// wiener is the covariance of an integrated Wiener process at two times.
func wiener(a, b float64) float64 {
	a, b = math.Min(a, b), math.Max(a, b)
	return a * a * (3*b - a) / 6
}

// powers are 1, u and u², u from −1 to 1 over the length.
func (s *smoothPhase) powers(t float64) []float64 {
	u := 2*t/s.lengthS - 1
	return []float64{1, u, u * u}[:s.order+1]
}

// at returns the phase in cycles at a time and its slope in hertz.
func (s *smoothPhase) at(t float64) (cycles, hz float64) {
	for p, u := range s.powers(t) {
		cycles += s.trend.AtVec(p) * u
		if p > 0 {
			hz += s.trend.AtVec(p) * 2 / s.lengthS * float64(p) * s.powers(t)[p-1]
		}
	}
	for i, at := range s.timesS {
		a := s.walk * s.alpha.AtVec(i)
		cycles += a * wiener(at, t)
		if t < at {
			hz += a * (t*at - t*t/2)
		} else {
			hz += a * at * at / 2
		}
	}
	return cycles, hz
}

// variance is that of Σ weights·phase at some times, in cycles².
func (s *smoothPhase) variance(timesS, weights []float64) float64 {
	n := len(s.timesS)
	between, prior := mat.NewVecDense(n, nil), 0.0
	trend := mat.NewVecDense(s.order+1, nil)
	for i, t := range timesS {
		for j, at := range s.timesS {
			between.SetVec(j, between.AtVec(j)+s.walk*weights[i]*wiener(t, at))
		}
		for j, other := range timesS {
			prior += s.walk * weights[i] * weights[j] * wiener(t, other)
		}
		for p, u := range s.powers(t) {
			trend.SetVec(p, trend.AtVec(p)+weights[i]*u)
		}
	}
	var solved, known mat.VecDense
	if s.chol.SolveVecTo(&solved, between) != nil {
		return math.Inf(1)
	}
	known.MulVec(s.solvedX.T(), between)
	trend.SubVec(trend, &known)
	return s.scatter * (math.Max(0, prior-mat.Dot(between, &solved)) + mat.Inner(trend, s.trendCov, trend))
}

// frequency is the mean over the whole length of what the phase adds to the
// frequency, in hertz. Where the mains wanders, what it came to from end to end and
// the straight line that fits it best are two means, and the uncertainty holds both.
func (s *smoothPhase) frequency() Estimate {
	first, _ := s.at(0)
	last, _ := s.at(s.lengthS)
	line, sum := 0.0, 0.0
	const steps = 200
	for i := range steps {
		t := s.lengthS * (float64(i) + 0.5) / steps
		cycles, _ := s.at(t)
		line += cycles * (t - s.lengthS/2)
		sum += sq(t - s.lengthS/2)
	}
	mean := (last - first) / s.lengthS
	std := math.Sqrt(s.variance([]float64{0, s.lengthS}, []float64{-1 / s.lengthS, 1 / s.lengthS}))
	if s.walk > 0 {
		std = Hypot(std, mean-line/sum)
	}
	return Estimate{mean, std}
}

// drift is the steady part of the frequency's rate of change, Hz/s; zero where the
// record is too short to tell.
func (s *smoothPhase) drift() Estimate {
	if s.order < 2 {
		return Estimate{}
	}
	scale := 8 / sq(s.lengthS)
	return Estimate{s.trend.AtVec(2) * scale, math.Sqrt(s.scatter*s.trendCov.At(2, 2)) * scale}
}
