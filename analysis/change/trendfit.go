package change

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"boardproof/analysis"

	"gonum.org/v1/gonum/mat"
)

// place is a common error's: with the line in the core, as those of an
// interface and of a method are, or in the block of its profile.
type place struct {
	block  *block // nil: the core
	column int
}

// block are the common errors of one profile: they have nothing to do with
// those of others but by way of the line.
type block struct {
	columns int
	normal  *mat.SymDense
	cross   *mat.Dense // with the core's unknowns
	right   *mat.VecDense
	solved  mat.Cholesky
	errors  mat.VecDense
}

// equations are those of a line through points, with every common error as a
// further unknown of mean 0 and variance 1. The line that fits best is that of
// generalised least squares, and no matrix of all pairs is needed (Henderson
// et al., Biometrics 15, 1959; from memory).
type equations struct {
	points []Point
	years  []float64
	own    []float64 // variances
	shares [][]share
	places []place // of each tie
	blocks []*block
	normal *mat.SymDense
	right  *mat.VecDense
	core   mat.VecDense // solved: value at 0, slope a year, common errors
}

func newEquations(points []Point, years []float64) (*equations, error) {
	e := &equations{points: points, years: years}
	var ties []tie
	e.own, e.shares, ties = sharesOf(points)
	if slices.Min(e.own) == 0 {
		return nil, fmt.Errorf("%w: a figure has no uncertainty", ErrFewPoints)
	}
	core := e.settle(ties)
	e.normal, e.right = mat.NewSymDense(core, nil), mat.NewVecDense(core, nil)
	for i := 2; i < core; i++ {
		e.normal.SetSym(i, i, 1)
	}
	for _, b := range e.blocks {
		b.normal, b.cross, b.right = mat.NewSymDense(b.columns, nil), mat.NewDense(b.columns, core, nil), mat.NewVecDense(b.columns, nil)
		for i := range b.columns {
			b.normal.SetSym(i, i, 1)
		}
	}
	for i := range points {
		e.add(i)
	}
	return e, nil
}

// settle gives every tie its place and returns how many unknowns the core has.
func (e *equations) settle(ties []tie) int {
	byProfile, core := map[tie]*block{}, 2
	for _, k := range ties {
		if k.reach != perProfile {
			e.places = append(e.places, place{nil, core})
			core++
			continue
		}
		key := tie{profile: k.profile, device: k.device, method: k.method}
		b := byProfile[key]
		if b == nil {
			b = &block{}
			byProfile[key], e.blocks = b, append(e.blocks, b)
		}
		e.places = append(e.places, place{b, b.columns})
		b.columns++
	}
	return core
}

// term is a factor of one unknown of the core in a point's equation.
type term struct {
	column int
	by     float64
}

// terms are those of point i in the core, and its shares in its profile's block.
func (e *equations) terms(i int) (core []term, b *block, inBlock []term) {
	core = []term{{0, 1}, {1, e.years[i]}}
	for _, s := range e.shares[i] {
		p := e.places[s.tie]
		if p.block == nil {
			core = append(core, term{p.column, s.std})
		} else {
			b, inBlock = p.block, append(inBlock, term{p.column, s.std})
		}
	}
	return core, b, inBlock
}

// add adds point i to the normal equations.
func (e *equations) add(i int) {
	w, y := 1/e.own[i], e.points[i].Reading.Value
	core, b, inBlock := e.terms(i)
	symmetric := func(to *mat.SymDense, terms []term) {
		for j, p := range terms {
			for _, q := range terms[j:] {
				to.SetSym(p.column, q.column, to.At(p.column, q.column)+w*p.by*q.by)
			}
		}
	}
	symmetric(e.normal, core)
	for _, p := range core {
		e.right.SetVec(p.column, e.right.AtVec(p.column)+w*p.by*y)
	}
	if b == nil {
		return
	}
	symmetric(b.normal, inBlock)
	for _, p := range inBlock {
		b.right.SetVec(p.column, b.right.AtVec(p.column)+w*p.by*y)
		for _, q := range core {
			b.cross.Set(p.column, q.column, b.cross.At(p.column, q.column)+w*p.by*q.by)
		}
	}
}

var errNoLine = errors.New("its equations cannot be solved")

// solve returns the variance of the slope.
func (e *equations) solve() (float64, error) {
	for _, b := range e.blocks {
		if !b.solved.Factorize(b.normal) {
			return 0, errNoLine
		}
		var through, normal mat.Dense
		var right mat.VecDense
		if err := b.solved.SolveTo(&through, b.cross); err != nil {
			return 0, err
		}
		normal.Mul(b.cross.T(), &through)
		right.MulVec(through.T(), b.right)
		for i := range e.right.Len() {
			for j := i; j < e.right.Len(); j++ {
				e.normal.SetSym(i, j, e.normal.At(i, j)-normal.At(i, j))
			}
		}
		e.right.SubVec(e.right, &right)
	}
	var c mat.Cholesky
	if !c.Factorize(e.normal) {
		return 0, errNoLine
	}
	var inverse mat.SymDense
	if err := errors.Join(c.SolveVecTo(&e.core, e.right), c.InverseTo(&inverse)); err != nil {
		return 0, err
	}
	for _, b := range e.blocks {
		b.errors.MulVec(b.cross, &e.core)
		b.errors.SubVec(b.right, &b.errors)
		if err := b.solved.SolveVecTo(&b.errors, &b.errors); err != nil {
			return 0, err
		}
	}
	return inverse.At(1, 1), nil
}

// chiSquare is that of what is left of the points, once they are solved: what
// the covariance matrix would weigh.
func (e *equations) chiSquare() float64 {
	sum := 0.0
	for i := 2; i < e.core.Len(); i++ {
		sum += e.core.AtVec(i) * e.core.AtVec(i)
	}
	for _, b := range e.blocks {
		sum += mat.Dot(&b.errors, &b.errors)
	}
	for i, p := range e.points {
		left := p.Reading.Value
		core, b, inBlock := e.terms(i)
		for _, t := range core {
			left -= t.by * e.core.AtVec(t.column)
		}
		for _, t := range inBlock {
			left -= t.by * b.errors.AtVec(t.column)
		}
		sum += left * left / e.own[i]
	}
	return sum
}

// fit fills in the line, the standard uncertainty of its slope for k = 2, and
// chi-square.
func (t *Trend) fit(points []Point, years []float64) error {
	e, err := newEquations(points, years)
	if err != nil {
		return err
	}
	variance, err := e.solve()
	if err != nil {
		return fmt.Errorf("fitting a trend: %w", err)
	}
	t.AtStart, t.PerYear = e.core.AtVec(0), e.core.AtVec(1)
	t.PerYearUncertainty = analysis.CoverageK * math.Sqrt(variance)
	t.ChiSquare, t.DOF = e.chiSquare(), len(points)-2
	return nil
}
