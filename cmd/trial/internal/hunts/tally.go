package hunts

import (
	"fmt"
	"io"
	"strings"

	"boardproof/analysis/hunt"
)

// outcome is what became of one hunt.
type outcome struct {
	// causes are the true ones, the strongest first; none is nothing but hiss.
	causes  []cause
	aboveDB float64
	// benchHums: the interface brings lines of its own.
	benchHums bool
	// conditions were recorded, as found included.
	conditions int
	weighing   hunt.Weighing
}

// truth lists the names that are right to name, that of the strongest cause
// first. Where no board hums, what is seen may be the bench's.
func (o *outcome) truth() []string {
	switch {
	case len(o.causes) == 0 && o.benchHums:
		return []string{hunt.HissOnly, hunt.Bench}
	case len(o.causes) == 0:
		return []string{hunt.HissOnly}
	}
	var names []string
	for _, c := range o.causes {
		names = append(names, c.name)
	}
	return names
}

func (o *outcome) isTrue(cause string) bool {
	for _, name := range o.truth() {
		if name == cause {
			return true
		}
	}
	return false
}

// right: a true cause comes first.
func (o *outcome) right() bool { return o.isTrue(o.weighing.Causes[0].Cause) }

// inTwo says whether the strongest true cause is among the first two.
func (o *outcome) inTwo() bool {
	if len(o.causes) == 0 {
		return o.isTrue(o.weighing.Causes[0].Cause) || o.isTrue(o.weighing.Causes[1].Cause)
	}
	main := o.truth()[0]
	return o.weighing.Causes[0].Cause == main || o.weighing.Causes[1].Cause == main
}

// sureAndWrong: named without a doubt and not true.
func (o *outcome) sureAndWrong() bool {
	return !o.right() && o.weighing.Causes[0].Score > hunt.DecidedFrom
}

// bands are of the level over the hiss, in dB, by their lower ends.
var bands = []float64{40, 20, 10, 6}

func (o *outcome) band() string {
	switch {
	case len(o.causes) == 0:
		return "none"
	case o.aboveDB < bands[len(bands)-1]:
		return "under 6 dB"
	}
	high := 60.0
	for _, low := range bands {
		if o.aboveDB >= low {
			return fmt.Sprintf("%g to %g dB", low, high)
		}
		high = low
	}
	return ""
}

// count is a row of the table.
type count struct{ of, right, inTwo, undecidedRightly, undecidedThoughRight, sureAndWrong, conditions int }

func (c *count) add(o *outcome) {
	c.of++
	c.conditions += o.conditions
	if o.right() {
		c.right++
	}
	if o.inTwo() {
		c.inTwo++
	}
	if o.sureAndWrong() {
		c.sureAndWrong++
	}
	switch {
	case !o.weighing.Decided && !o.right():
		c.undecidedRightly++
	case !o.weighing.Decided:
		c.undecidedThoughRight++
	}
}

const row = "%-32s %6s %8s %8s %10s %10s %8s %8s\n"

func (c *count) print(w io.Writer, name string) {
	if c.of == 0 {
		return
	}
	fmt.Fprintf(w, row, name, fmt.Sprint(c.of), c.percent(c.right), c.percent(c.inTwo), c.percent(c.undecidedRightly),
		c.percent(c.undecidedThoughRight), c.percent(c.sureAndWrong), c.mean())
}

func (c *count) percent(n int) string { return fmt.Sprintf("%.1f", 100*float64(n)/float64(c.of)) }

// mean is that of the conditions.
func (c *count) mean() string { return fmt.Sprintf("%.1f", float64(c.conditions)/float64(c.of)) }

// table prints how the hunts ended by cause and by level.
func table(w io.Writer, all []outcome) {
	fmt.Fprintf(w, row, "", "hunts", "first", "in first", "undecided,", "undecided,", "sure and", "condi-")
	fmt.Fprintf(w, row, "", "", "right %", "two %", "wrong %", "right %", "wrong %", "tions")
	rows := func(head string, names []string, of func(*outcome) string) {
		fmt.Fprintf(w, "%s\n%s\n", strings.Repeat("-", 97), head)
		for _, name := range names {
			var c count
			for i := range all {
				if of(&all[i]) == name {
					c.add(&all[i])
				}
			}
			c.print(w, "  "+name)
		}
	}
	causes := func(n int, by func(*outcome) string) func(*outcome) string {
		return func(o *outcome) string {
			if len(o.causes) != n {
				return ""
			}
			return by(o)
		}
	}
	main := func(o *outcome) string { return o.truth()[0] }
	levels := []string{"40 to 60 dB", "20 to 40 dB", "10 to 20 dB", "6 to 10 dB", "under 6 dB"}
	rows("no cause", []string{hunt.HissOnly}, causes(0, main))
	rows("one cause", drawable, causes(1, main))
	rows("one cause, by level", levels, causes(1, (*outcome).band))
	rows("one cause, 20 dB and more", []string{"all"}, causes(1, func(o *outcome) string {
		if o.aboveDB >= 20 {
			return "all"
		}
		return ""
	}))
	rows("two causes, by the stronger", drawable, causes(2, main))
	rows("two causes, by level", levels, causes(2, (*outcome).band))
	rows("all", []string{"all"}, func(*outcome) string { return "all" })
}

// inShort is the table in a line: one cause, two, and none.
func inShort(all []outcome) string {
	var parts []string
	for n, name := range []string{"no cause", "one cause", "two causes"} {
		var c count
		for i := range all {
			if len(all[i].causes) == n {
				c.add(&all[i])
			}
		}
		if c.of > 0 {
			parts = append(parts, fmt.Sprintf("%s: first right %s %% of %d, sure and wrong %s %%, %s conditions", name, c.percent(c.right), c.of, c.percent(c.sureAndWrong), c.mean()))
		}
	}
	return strings.Join(parts, "; ")
}

// mistake tells of a hunt that named none of the true causes first.
func (o *outcome) mistake(number int) string {
	var true []string
	for _, c := range o.causes {
		true = append(true, fmt.Sprintf("%s (%s)", c.name, c.where))
	}
	first, second := o.weighing.Causes[0], o.weighing.Causes[1]
	return fmt.Sprintf("hunt %d, %.0f dB over the hiss, %d conditions: true %s; named %s (%.2f) then %s (%.2f)\n  + %s\n  - %s\n",
		number, o.aboveDB, o.conditions, strings.Join(true, " and "), first.Cause, first.Score, second.Cause, second.Score, first.For, first.Against)
}
