package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"

	"gonum.org/v1/gonum/stat/distuv"
)

// counts are tests and how many of them called an unchanged reading changed.
type counts struct{ tests, changed int }

func (c counts) percent() string {
	if c.tests == 0 {
		return "—"
	}
	return fmt.Sprintf("%.2f", 100*float64(c.changed)/float64(c.tests))
}

// Of the two halves of the boards, the index says which.
const (
	sameProfile = iota
	newProfile
	halves
)

// pairOf is of each half.
type pairOf [halves]counts

// tally is what became of the comparisons.
type tally struct {
	figures map[string]*pairOf
	// bounds are rows with a bound, of which the test is one-sided at the most.
	bounds counts
	of     pairOf
	// appeared counts other tones that only one of the two sittings found.
	appeared int
	real     map[string]int
}

func newTally() *tally { return &tally{figures: map[string]*pairOf{}, real: map[string]int{}} }

func (t *tally) boards() int { return t.of[sameProfile].tests + t.of[newProfile].tests }

func (t *tally) add(r retested) {
	if !r.measured {
		return
	}
	half := sameProfile
	if r.recalibrated {
		half = newProfile
	}
	found := false
	for _, row := range r.Rows {
		name := nameOf(row.After.Reading)
		if row.Outcome == change.Real {
			found = true
			t.real[name]++
		}
		switch {
		case row.P == nil:
		case row.Bound != "":
			t.bounds.count(*row.P)
		default:
			t.figure(name)[half].count(*row.P)
		}
	}
	for _, c := range r.Curves {
		name := "curve: " + strings.ReplaceAll(c.Quantity, "_", " ")
		if c.Outcome == change.Real {
			found = true
			t.real[name]++
		}
		t.figure(name)[half].count(c.P)
	}
	for _, u := range r.Unpaired {
		if u.Quantity == analysis.OtherTone {
			t.appeared++
		}
	}
	t.of[half].tests++
	if found {
		t.of[half].changed++
	}
}

func (t *tally) figure(name string) *pairOf {
	if t.figures[name] == nil {
		t.figures[name] = &pairOf{}
	}
	return t.figures[name]
}

func (c *counts) count(p float64) {
	c.tests++
	if p <= change.Alpha {
		c.changed++
	}
}

// nameOf is what readings are counted under.
func nameOf(r analysis.Reading) string {
	name := strings.ReplaceAll(r.Quantity, "_", " ")
	if r.Weighting != "" {
		name += ", " + r.Weighting
	}
	if r.Quantity == analysis.HumHarmonic {
		name = "hum, harmonics above 3"
		if r.Harmonic <= 3 {
			name = fmt.Sprintf("hum, harmonic %d", r.Harmonic)
		}
	}
	return name
}

const row = "%-28s %9s %10s %9s %10s %9s %10s\n"

func (t *tally) print(w io.Writer) {
	fmt.Fprintf(w, row, "called changed at 95 %", "same prof", "changed %", "new prof", "changed %", "both", "changed %")
	fmt.Fprintln(w, strings.Repeat("-", 91))
	line := func(name string, c pairOf) {
		both := c.both()
		fmt.Fprintf(w, row, name, fmt.Sprint(c[0].tests), c[0].percent(), fmt.Sprint(c[1].tests), c[1].percent(), fmt.Sprint(both.tests), both.percent())
	}
	var all pairOf
	for _, name := range slices.Sorted(maps.Keys(t.figures)) {
		line(name, *t.figures[name])
		if !isCurve(name) {
			for i, c := range t.figures[name] {
				all[i].tests, all[i].changed = all[i].tests+c.tests, all[i].changed+c.changed
			}
		}
	}
	fmt.Fprintln(w, strings.Repeat("-", 91))
	line("all readings", all)
	line("boards with a real change", t.of)
	fmt.Fprintf(w, "\nOf %d bounds against a figure %s %% are called changed; %d other tones were found in one sitting only.\n",
		t.bounds.tests, t.bounds.percent(), t.appeared)
	fmt.Fprintln(w, "A curve's test is on the safe side (Bonferroni over its points).")
	for _, name := range slices.Sorted(maps.Keys(t.real)) {
		fmt.Fprintf(w, "called real: %s, %d times\n", name, t.real[name])
	}
}

func (c pairOf) both() counts {
	return counts{c[0].tests + c[1].tests, c[0].changed + c[1].changed}
}

func isCurve(name string) bool { return strings.HasPrefix(name, "curve: ") }

// What is aimed at: shares of readings, and of boards.
const (
	leastShare, mostShare = 0.04, 0.06
	mostBoards            = 0.05
)

// judge is an error that lists what is off by more than its own count scatters:
// a chance of less than unlikely by the binomial distribution.
func (t *tally) judge() error {
	var bad []error
	for _, name := range slices.Sorted(maps.Keys(t.figures)) {
		c := t.figures[name].both()
		if c.above(mostShare) || !isCurve(name) && c.below(leastShare) {
			bad = append(bad, fmt.Errorf("%s: %s %% of %d unchanged ones are called changed", name, c.percent(), c.tests))
		}
	}
	if b := t.of.both(); b.above(mostBoards) {
		bad = append(bad, fmt.Errorf("%s %% of boards have a real change", b.percent()))
	}
	return errors.Join(bad...)
}

const unlikely = 0.025

func (c counts) above(share float64) bool {
	return c.changed > 0 && distuv.Binomial{N: float64(c.tests), P: share}.Survival(float64(c.changed-1)) < unlikely
}

func (c counts) below(share float64) bool {
	return c.tests > 0 && distuv.Binomial{N: float64(c.tests), P: share}.CDF(float64(c.changed)) < unlikely
}
