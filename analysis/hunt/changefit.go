package hunt

import (
	"fmt"
	"math"

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
		t := take{condition: i, atS: r.AtS, db: analysis.DB(l.RMS.Value), std: analysis.DBFromRelative(l.RMS.Std / l.RMS.Value), Level: l, moving: r.Moving}
		if group != OtherTones && group != Hiss {
			t.std = analysis.Hypot(t.std, r.HumMovesDB/analysis.CoverageK)
		} else {
			t.moving = ""
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

func (s *series) index(c Condition) int {
	for i, o := range s.conditions {
		if o == c {
			return i
		}
	}
	return -1
}

// fit finds each condition's level by least squares, with a common drift where
// there are repeats enough. A condition with a bound among its takes is a
// bound, the largest, and takes no part.
func (s *series) fit() {
	n := len(s.conditions)
	s.mean, s.bound, s.moved = make([]float64, n), make([]bool, n), make([]string, n)
	s.cov = mat.NewDense(max(n, 1), max(n, 1), nil)
	for _, t := range s.takes {
		if t.UpperBound {
			s.mean[t.condition] = math.Max(t.db, s.mean[t.condition])
			if !s.bound[t.condition] {
				s.mean[t.condition], s.bound[t.condition] = t.db, true
			}
		}
	}
	var use []take
	counts := make([]int, n)
	for _, t := range s.takes {
		if !s.bound[t.condition] {
			use = append(use, t)
			counts[t.condition]++
		}
	}
	repeats := 0
	for _, c := range counts {
		repeats += max(c-1, 0)
	}
	s.solve(use, repeats >= driftRepeats, repeats)
}

// solve fits the means (and a drift) to the takes, by their own uncertainty
// first and then with what their scatter shows on top of that.
func (s *series) solve(use []take, drift bool, repeats int) {
	if len(use) == 0 {
		return
	}
	column := map[int]int{}
	for _, t := range use {
		if _, ok := column[t.condition]; !ok {
			column[t.condition] = len(column)
		}
	}
	unknowns := len(column)
	if drift {
		unknowns++
	}
	span := math.Max(1e-9, use[len(use)-1].atS-use[0].atS)
	a := mat.NewDense(len(use), unknowns, nil)
	for i, t := range use {
		a.Set(i, column[t.condition], 1)
		if drift {
			a.Set(i, unknowns-1, (t.atS-use[0].atS)/span-0.5)
		}
	}
	more := repeatDB * repeatDB
	var x, cov *mat.Dense
	for range 2 {
		if x, cov = weightedFit(a, use, more); x == nil {
			if drift { // it cannot be told from what the conditions did
				s.solve(use, false, repeats)
			}
			return
		}
		excess, dof := 0.0, float64(len(use)-unknowns)
		for i, t := range use {
			d := t.db - mat.Dot(a.RowView(i), x.ColView(0))
			excess += d*d - t.std*t.std*dof/float64(len(use))
		}
		more = (repeatWorth*repeatDB*repeatDB + math.Max(0, excess)) / (repeatWorth + dof)
	}
	if last := unknowns - 1; drift && math.Abs(x.At(last, 0)) < driftSigmas*math.Sqrt(cov.At(last, last)) {
		s.solve(use, false, repeats)
		return
	}
	for i, p := range column {
		s.mean[i] = x.At(p, 0)
		for j, q := range column {
			s.cov.Set(i, j, cov.At(p, q))
		}
	}
	s.findMoves(use)
}

func weightedFit(a *mat.Dense, use []take, more float64) (x, cov *mat.Dense) {
	_, n := a.Dims()
	info, right := mat.NewDense(n, n, nil), mat.NewDense(n, 1, nil)
	for i, t := range use {
		w := 1 / (t.std*t.std + more)
		for p := range n {
			right.Set(p, 0, right.At(p, 0)+w*a.At(i, p)*t.db)
			for q := range n {
				info.Set(p, q, info.At(p, q)+w*a.At(i, p)*a.At(i, q))
			}
		}
	}
	cov = mat.NewDense(n, n, nil)
	if cov.Inverse(info) != nil {
		return nil, nil
	}
	x = mat.NewDense(n, 1, nil)
	x.Mul(cov, right)
	return x, cov
}

// findMoves notes conditions whose repeats differ by more than chance.
func (s *series) findMoves(use []take) {
	for i := range use {
		for j := range i {
			a, b := use[i], use[j]
			d := math.Abs(a.db - b.db)
			if a.condition == b.condition && d > movedDB && d > movedSigmas*analysis.Hypot(a.std, b.std) && s.group != Hiss {
				s.moved[a.condition] = fmt.Sprintf("repeats differ by %.1f dB", d)
			}
		}
	}
}
