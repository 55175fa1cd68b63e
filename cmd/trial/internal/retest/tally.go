package retest

import (
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"
)

// counts are tests, how many of them called an unchanged reading changed, and
// how many called it so once it was shifted by shiftStd.
type counts struct{ tests, changed, found int }

func (c counts) plus(o counts) counts {
	return counts{c.tests + o.tests, c.changed + o.changed, c.found + o.found}
}

// Of the two halves of the boards, the index says which.
const (
	sameProfile = iota
	newProfile
	halves
)

// bench is what all boards of one have in common.
type bench struct {
	seed   uint64
	number int
}

// figure is one quantity's counts, of each half by bench: readings of one bench are
// not independent.
type figure [halves]map[bench]counts

func (f *figure) count(half int, b bench, c counts) {
	if f[half] == nil {
		f[half] = map[bench]counts{}
	}
	f[half][b] = f[half][b].plus(c)
}

func (f *figure) of(half int) counts {
	var sum counts
	for _, c := range f[half] {
		sum = sum.plus(c)
	}
	return sum
}

func (f *figure) both() counts { return f.of(sameProfile).plus(f.of(newProfile)) }

// tally is what became of the comparisons.
type tally struct {
	figures map[string]*figure
	// bounds are rows with a bound, of which the test is one-sided at the most.
	bounds, boards figure
	// untested are pairs that are compared and not tested, by quantity.
	untested map[string]int
	// appeared counts other tones that only one of the two sittings found.
	appeared int
	real     map[string]int
}

func newTally() *tally {
	return &tally{figures: map[string]*figure{}, untested: map[string]int{}, real: map[string]int{}}
}

func (t *tally) add(s sittings) {
	if !s.measured() {
		return
	}
	half, of := sameProfile, bench{s.Seed, s.Bench}
	if s.Recalibrated {
		half = newProfile
	}
	c := change.Compare(s.Before, s.After, s.ties())
	real := 0
	for _, row := range c.Rows {
		real += t.real1(row.Outcome, nameOf(row.After.Reading))
		t.addRow(half, of, row)
	}
	for _, row := range shifted(c.Rows, s.ties()) {
		if row.P != nil && row.Bound == "" && *row.P <= change.Alpha {
			t.figure(nameOf(row.After.Reading)).count(half, of, counts{found: 1})
		}
	}
	for _, k := range c.Curves {
		name := curve + strings.ReplaceAll(k.Quantity, "_", " ")
		real += t.real1(k.Outcome, name)
		t.figure(name).count(half, of, tested(k.P))
	}
	for _, u := range c.Unpaired {
		if u.Quantity == analysis.OtherTone {
			t.appeared++
		}
	}
	t.boards.count(half, of, counts{tests: 1, changed: min(real, 1)})
}

func (t *tally) addRow(half int, of bench, row change.Row) {
	name := nameOf(row.After.Reading)
	bounds := row.Before.UpperBound || row.Before.LowerBound || row.After.UpperBound || row.After.LowerBound
	switch {
	case row.P == nil && row.Outcome == change.CannotTell && !bounds:
		t.untested[name]++
	case row.P == nil:
	case row.Bound != "":
		t.bounds.count(half, of, tested(*row.P))
	default:
		t.figure(name).count(half, of, tested(*row.P))
	}
}

// real1 is 1 for what is called real, and notes it.
func (t *tally) real1(o change.Outcome, name string) int {
	if o != change.Real {
		return 0
	}
	t.real[name]++
	return 1
}

func (t *tally) figure(name string) *figure {
	if t.figures[name] == nil {
		t.figures[name] = &figure{}
	}
	return t.figures[name]
}

func tested(p float64) counts {
	if p <= change.Alpha {
		return counts{tests: 1, changed: 1}
	}
	return counts{tests: 1}
}

const curve = "curve: "

func isCurve(name string) bool { return strings.HasPrefix(name, curve) }

// nameOf is what readings are counted under.
func nameOf(r analysis.Reading) string {
	name := strings.ReplaceAll(r.Quantity, "_", " ")
	if r.Weighting != "" {
		name += ", " + r.Weighting
	}
	if r.Quantity == analysis.HumHarmonic {
		name = "hum, harmonics above 3"
		if r.Harmonic <= 3 {
			name = "hum, harmonic " + string(rune('0'+r.Harmonic))
		}
	}
	return name
}
