package change

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"boardproof/analysis"

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
	years := make([]float64, t.N)
	for i, p := range used {
		years[i] = p.At.Sub(t.Start).Seconds() / secondsPerYear
	}
	if slices.Max(years) == 0 {
		return t, fmt.Errorf("%w: all are of one time", ErrFewPoints)
	}
	if err := t.fit(used, years); err != nil {
		return t, err
	}
	t.test()
	return t, nil
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
