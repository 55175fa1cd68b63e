package hunt

import (
	"fmt"
	"math"
	"slices"

	"boardproof/analysis"

	"gonum.org/v1/gonum/mat"
)

// series are the levels of one group at one output over the hunt, in dB.
type series struct {
	output, group string
	conditions    []Condition
	takes         []take
	// mean and cov are of the conditions, in dB and dB²; bound where no level
	// is known.
	mean  []float64
	cov   *mat.Dense
	bound []bool
	moved []string
}

type take struct {
	condition int
	atS       float64
	db, std   float64
	Level
	moving string
}

func newSeries(readings []Reading, output, group string) *series {
	s := &series{output: output, group: group}
	timed := false
	for _, r := range readings {
		l, ok := r.Levels[group]
		if r.Output != output || r.Reason != "" || !ok || l.RMS.Value <= 0 {
			continue
		}
		i := s.index(r.Condition)
		if i < 0 {
			i = len(s.conditions)
			s.conditions = append(s.conditions, r.Condition)
		}
		timed = timed || r.AtS != 0
		t := take{condition: i, atS: r.AtS, db: analysis.DB(l.RMS.Value), std: analysis.DBFromRelative(l.RMS.Std / l.RMS.Value), Level: l}
		if group != OtherTones && group != Hiss {
			t.std, t.moving = analysis.Hypot(t.std, r.HumMovesDB/analysis.CoverageK), r.Moving
		}
		s.takes = append(s.takes, t)
	}
	for i := range s.takes {
		if !timed {
			s.takes[i].atS = float64(i)
		}
	}
	s.fit()
	return s
}

func (s *series) index(c Condition) int { return slices.Index(s.conditions, c) }

// fit finds each condition's level by least squares, with a common drift where
// there are repeats enough. A condition with a bound among its takes is a
// bound, the largest, and takes no part.
func (s *series) fit() {
	n := len(s.conditions)
	s.mean, s.bound, s.moved = make([]float64, n), make([]bool, n), make([]string, n)
	s.cov = mat.NewDense(max(n, 1), max(n, 1), nil)
	for _, t := range s.takes {
		if t.UpperBound && (!s.bound[t.condition] || t.db > s.mean[t.condition]) {
			s.mean[t.condition], s.bound[t.condition] = t.db, true
		}
	}
	use := slices.DeleteFunc(slices.Clone(s.takes), func(t take) bool { return s.bound[t.condition] })
	column := map[int]int{}
	for _, t := range use {
		if _, ok := column[t.condition]; !ok {
			column[t.condition] = len(column)
		}
	}
	if len(use) == 0 || len(use)-len(column) >= driftRepeats && s.solve(use, column, true) {
		return
	}
	s.solve(use, column, false)
}

// solve fits the means (and a drift) to the takes, by their own uncertainty
// first and then with what their scatter shows on top of that. It is false where
// a drift cannot be told from what the conditions did, or does not show.
func (s *series) solve(use []take, column map[int]int, drift bool) bool {
	unknowns, first := len(column), use[0].atS
	if drift {
		unknowns++
	}
	span := math.Max(1e-9, use[len(use)-1].atS-first)
	a, y := mat.NewDense(len(use), unknowns, nil), mat.NewVecDense(len(use), nil)
	for i, t := range use {
		a.Set(i, column[t.condition], 1)
		if drift {
			a.Set(i, unknowns-1, (t.atS-first)/span-0.5)
		}
		y.SetVec(i, t.db)
	}
	more, dof := repeatDB*repeatDB, float64(len(use)-unknowns)
	var x mat.VecDense
	var cov mat.Dense
	for range 2 {
		weighted, rest := mat.DenseCopyOf(a), mat.VecDense{}
		for i, t := range use {
			for k := range unknowns {
				weighted.Set(i, k, a.At(i, k)/(t.std*t.std+more))
			}
		}
		cov.Mul(weighted.T(), a)
		if cov.Inverse(&cov) != nil {
			return false
		}
		x.MulVec(weighted.T(), y)
		x.MulVec(&cov, &x)
		rest.MulVec(a, &x)
		rest.SubVec(y, &rest)
		excess := mat.Dot(&rest, &rest)
		for _, t := range use {
			excess -= t.std * t.std * dof / float64(len(use))
		}
		more = (repeatWorth*repeatDB*repeatDB + math.Max(0, excess)) / (repeatWorth + dof)
	}
	if last := unknowns - 1; drift && math.Abs(x.AtVec(last)) < driftSigmas*math.Sqrt(cov.At(last, last)) {
		return false
	}
	for i, p := range column {
		s.mean[i] = x.AtVec(p)
		for j, q := range column {
			s.cov.Set(i, j, cov.At(p, q))
		}
	}
	s.findMoves(use)
	return true
}

// findMoves notes conditions whose repeats differ by more than chance.
func (s *series) findMoves(use []take) {
	for i, a := range use {
		for _, b := range use[:i] {
			d := math.Abs(a.db - b.db)
			if a.condition == b.condition && d > movedDB && d > movedSigmas*analysis.Hypot(a.std, b.std) && s.group != Hiss {
				s.moved[a.condition] = fmt.Sprintf("repeats differ by %.1f dB", d)
			}
		}
	}
}
