package retest

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"boardproof/cmd/trial/internal/trials"
)

const row = "%-25s %8s %9s %8s %9s %8s %9s %8s\n"

// report prints t, and judges it.
func (t *tally) report(w io.Writer, whence string) (trials.Figures, error) {
	t.print(w)
	boards := t.boards.both()
	if boards.tests == 0 {
		return trials.Figures{}, nil
	}
	return trials.Figures{Of: fmt.Sprintf("%d boards, %s", boards.tests, whence), Found: t.inShort()}, t.judge()
}

// all is every figure but the curves' together, readings.
func (t *tally) all() *figure {
	var all figure
	for name, f := range t.figures {
		if isCurve(name) {
			continue
		}
		for half, byBench := range f {
			for b, c := range byBench {
				all.count(half, b, c)
			}
		}
	}
	return &all
}

func (t *tally) inShort() string {
	share := func(c counts) string { return fmt.Sprintf("%s of %d", percent(c.changed, c.tests), c.tests) }
	all := t.all()
	c, boards := all.both(), t.boards.both()
	return fmt.Sprintf("%% called changed: same profile %s readings, new profile %s; a real change in %s boards; %s %% of 3 u found",
		share(all.of(sameProfile)), share(all.of(newProfile)), share(boards), percent(c.found, c.tests))
}

func (t *tally) print(w io.Writer) {
	fmt.Fprintf(w, row, "called changed at 95 %", "same", "changed", "new", "changed", "both", "changed", "of 3 u,")
	fmt.Fprintf(w, row, "", "profile", "%", "profile", "%", "", "%", "found %")
	fmt.Fprintln(w, strings.Repeat("-", 91))
	for _, name := range slices.Sorted(maps.Keys(t.figures)) {
		line(w, name, t.figures[name])
	}
	fmt.Fprintln(w, strings.Repeat("-", 91))
	line(w, "all readings", t.all())
	line(w, "bounds against a figure", &t.bounds)
	line(w, "boards with a real change", &t.boards)
	t.printNotes(w)
}

func line(w io.Writer, name string, f *figure) {
	cells := []any{name}
	for _, c := range []counts{f.of(sameProfile), f.of(newProfile), f.both()} {
		cells = append(cells, fmt.Sprint(c.tests), percent(c.changed, c.tests))
	}
	found := "—"
	if c := f.both(); c.found > 0 {
		found = percent(c.found, c.tests)
	}
	fmt.Fprintf(w, row, append(cells, found)...)
}

func percent(n, of int) string {
	if of == 0 {
		return "—"
	}
	return fmt.Sprintf("%.2f", 100*float64(n)/float64(of))
}

// notTested is why a quantity's differences are not tested.
var notTested = map[string]string{
	"other tone": "an oscillator wanders in level and width by more than one take shows",
	"thd n":      "no hum was found beside the tone to say what the bench's own, at any phase, does to it",
}

func (t *tally) printNotes(w io.Writer) {
	fmt.Fprintf(w, "\nof 3 u, found: each later reading moved by three standard uncertainties of its difference\n"+
		"is called changed; %.1f %% by theory where that is normal, more where it is evenly spread.\n", 100*normalPower())
	fmt.Fprintln(w, "A bound is tested on one side, where the other reading is beyond it. A curve is tested by the\n"+
		"worst third of an octave, and under a new profile by its level besides (Bonferroni: on the safe\n"+
		"side). Its single points are not tested: one may be off by a tone that no other shows.")
	for _, name := range slices.Sorted(maps.Keys(t.untested)) {
		fmt.Fprintf(w, "not tested: %s, %d pairs:\n  %s\n", name, t.untested[name], notTested[name])
	}
	if t.appeared > 0 {
		fmt.Fprintf(w, "%d other tones were found in one sitting only\n", t.appeared)
	}
	for _, name := range slices.Sorted(maps.Keys(t.real)) {
		fmt.Fprintf(w, "called real: %s, %d times\n", name, t.real[name])
	}
}

// normalPower is the chance that a normal difference that is shifted by shiftStd
// is beyond the two-sided 5 % limit.
func normalPower() float64 {
	const limit = 1.959964
	return (math.Erfc((limit-shiftStd)/math.Sqrt2) + math.Erfc((limit+shiftStd)/math.Sqrt2)) / 2
}

// What is aimed at: shares of readings, and of boards.
const (
	leastShare, mostShare = 0.04, 0.06
	mostBoards            = 0.05
)

// judge is an error that lists what is off by more than its own count scatters.
func (t *tally) judge() error {
	var bad []error
	for _, name := range slices.Sorted(maps.Keys(t.figures)) {
		f := t.figures[name]
		if f.above(mostShare) || !isCurve(name) && f.below(leastShare) {
			c := f.both()
			bad = append(bad, fmt.Errorf("%s: %s %% of %d unchanged ones are called changed", name, percent(c.changed, c.tests), c.tests))
		}
	}
	if t.boards.above(mostBoards) {
		c := t.boards.both()
		bad = append(bad, fmt.Errorf("%s %% of boards have a real change", percent(c.changed, c.tests)))
	}
	return errors.Join(bad...)
}

// unlikely is the chance by which a count is beyond what its share explains.
const unlikely = 0.025

// above and below say whether the count is so for a share, by the binomial
// distribution of as many independent tests as these are worth.
func (f *figure) above(share float64) bool {
	n, changed := f.worth()
	return changed > 0 && distuv.Beta{Alpha: changed, Beta: n - changed + 1}.CDF(share) < unlikely
}

func (f *figure) below(share float64) bool {
	n, changed := f.worth()
	return changed < n && 1-distuv.Beta{Alpha: changed + 1, Beta: n - changed}.CDF(share) < unlikely
}

// worth is how many independent tests all of f are worth, and how many of
// these called something changed: less than there are where whole benches scatter more
// than single tests would.
func (f *figure) worth() (tests, changed float64) {
	byBench := map[bench]counts{}
	var all counts
	for _, half := range f {
		for b, c := range half {
			byBench[b], all = byBench[b].plus(c), all.plus(c)
		}
	}
	tests, changed = float64(all.tests), float64(all.changed)
	if changed == 0 || changed == tests {
		return tests, changed
	}
	share, scatter := changed/tests, 0.0
	for _, c := range byBench {
		scatter += math.Pow(float64(c.changed)-share*float64(c.tests), 2)
	}
	by := math.Min(1, tests*share*(1-share)/scatter)
	return by * tests, by * changed
}
