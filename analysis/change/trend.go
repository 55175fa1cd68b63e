package change

import (
	"errors"
	"fmt"
	"math"
	"time"

	"boardproof/analysis"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Point is one reading of a series.
type Point struct {
	At      time.Time
	Reading analysis.Reading
	// Profile, Interface and Method name what the reading was made with; what
	// two points share of their budgets follows from them. Interface says which
	// inputs, too.
	Profile, Interface, Method string
}

// bound says whether p is no figure to fit.
func (p Point) bound() bool { return p.Reading.UpperBound || p.Reading.LowerBound }

func (p Point) ties(q Point) Ties {
	return Ties{Profile: p.Profile != "" && p.Profile == q.Profile && p.Interface == q.Interface,
		Interface: p.Interface == q.Interface, Method: p.Method == q.Method}
}

// Trend is a straight line through a series against time.
type Trend struct {
	// N counts the points used, Bounds those left out as bounds.
	N      int `json:"n"`
	Bounds int `json:"bounds"`
	// Start is the time of the first point, AtStart the line's value there.
	Start   time.Time `json:"start"`
	AtStart float64   `json:"at_start"`
	// PerYear is the slope, in the unit of the reading for 365.25 days,
	// PerYearUncertainty its expanded uncertainty (k = 2).
	PerYear            float64 `json:"per_year"`
	PerYearUncertainty float64 `json:"per_year_uncertainty"`
	// PDrift is the chance of such a slope without any drift.
	PDrift float64 `json:"p_drift"`
	// ChiSquare is of the residuals about the line with DOF degrees of freedom,
	// and PScatter the chance of that much. Both mean nothing where DOF is 0.
	ChiSquare float64 `json:"chi_square"`
	DOF       int     `json:"dof"`
	PScatter  float64 `json:"p_scatter"`
	// Scattered: the points scatter more than their uncertainties say; the
	// slope's was widened by as much (the Birge ratio), and Student's t taken.
	Scattered bool `json:"scattered"`
	// Drifts: the slope is not by chance.
	Drifts bool `json:"drifts"`
}

// Errors of FitTrend, wrapped.
var (
	// ErrFewPoints: fewer than three figures at two times or more say nothing.
	ErrFewPoints = errors.New("too few figures for a trend")
)

const (
	secondsPerYear = 365.25 * 86400
	leastPoints    = 3
	// mostPoints is how many points the covariances of all pairs are kept for;
	// beyond it each stands for itself.
	mostPoints = 600
)

// FitTrend fits a straight line by generalised least squares: points made with
// one profile share part of their error, which is in the covariance matrix
// (Aitken, 1935; JCGM 100:2008, 5.2). Bounds are left out. The error may be
// ErrFewPoints.
func FitTrend(points []Point) (Trend, error) {
	var used []Point
	t := Trend{PDrift: 1, PScatter: 1}
	for _, p := range points {
		if p.bound() {
			t.Bounds++
		} else {
			used = append(used, p)
		}
	}
	t.N = len(used)
	if t.N < leastPoints {
		return t, fmt.Errorf("%w: %d of three at least", ErrFewPoints, t.N)
	}
	t.Start = used[0].At
	for _, p := range used {
		if p.At.Before(t.Start) {
			t.Start = p.At
		}
	}
	span := 0.0
	x, y := mat.NewDense(t.N, 2, nil), mat.NewVecDense(t.N, nil)
	for i, p := range used {
		years := p.At.Sub(t.Start).Seconds() / secondsPerYear
		span = math.Max(span, years)
		x.SetRow(i, []float64{1, years})
		y.SetVec(i, p.Reading.Value)
	}
	if span == 0 {
		return t, fmt.Errorf("%w: all are of one time", ErrFewPoints)
	}
	if err := t.fit(x, y, covariances(used)); err != nil {
		return t, err
	}
	t.test()
	return t, nil
}

// covariances is the covariance matrix of points, nil where they are exact.
func covariances(points []Point) *mat.SymDense {
	n := len(points)
	v := mat.NewSymDense(n, nil)
	for i, p := range points {
		b := budgetOf(p.Reading)
		v.SetSym(i, i, b.Std()*b.Std())
		for j := i + 1; j < n && n <= mostPoints; j++ {
			v.SetSym(i, j, covariance(b, budgetOf(points[j].Reading), p.ties(points[j])))
		}
	}
	return v
}

// fit fills in the line, the standard uncertainty of its slope for k = 2, and
// chi-square.
func (t *Trend) fit(x *mat.Dense, y *mat.VecDense, v *mat.SymDense) error {
	// What two points do not share is sometimes nothing, to rounding.
	n := y.Len()
	for i := range n {
		v.SetSym(i, i, v.At(i, i)*(1+1e-9))
	}
	var c mat.Cholesky
	if !c.Factorize(v) {
		return fmt.Errorf("%w: a figure has no uncertainty", ErrFewPoints)
	}
	var vx, normal, inverse mat.Dense
	var vy, right, line, left, weighed mat.VecDense
	if err := errors.Join(c.SolveTo(&vx, x), c.SolveVecTo(&vy, y)); err != nil {
		return fmt.Errorf("fitting a trend: %w", err)
	}
	normal.Mul(x.T(), &vx)
	right.MulVec(x.T(), &vy)
	if err := inverse.Inverse(&normal); err != nil {
		return fmt.Errorf("fitting a trend: %w", err)
	}
	line.MulVec(&inverse, &right)
	left.MulVec(x, &line)
	left.SubVec(y, &left)
	if err := c.SolveVecTo(&weighed, &left); err != nil {
		return fmt.Errorf("fitting a trend: %w", err)
	}
	t.AtStart, t.PerYear = line.AtVec(0), line.AtVec(1)
	t.PerYearUncertainty = analysis.CoverageK * math.Sqrt(inverse.At(1, 1))
	t.ChiSquare, t.DOF = mat.Dot(&left, &weighed), n-2
	return nil
}

// test tells drift from scatter.
func (t *Trend) test() {
	dof := float64(t.DOF)
	t.PScatter = distuv.ChiSquared{K: dof}.Survival(t.ChiSquare)
	t.Scattered = t.PScatter < Alpha
	if t.Scattered {
		t.PerYearUncertainty *= math.Sqrt(t.ChiSquare / dof)
	}
	z := math.Abs(t.PerYear) / (t.PerYearUncertainty / analysis.CoverageK)
	if t.Scattered {
		t.PDrift = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Survival(z)
	} else {
		t.PDrift = math.Erfc(z / math.Sqrt2)
	}
	t.Drifts = t.PDrift <= Alpha
}

// At returns the line's value at a time.
func (t Trend) At(at time.Time) float64 {
	return t.AtStart + t.PerYear*at.Sub(t.Start).Seconds()/secondsPerYear
}
