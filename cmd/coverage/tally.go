package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

func nameOfResponse(hz float64) string { return fmt.Sprintf("response at %g Hz", hz) }

func nameOfHarmonic(n int) string { return fmt.Sprintf("hum, harmonic %d", n) }

// order is how the table is sorted.
func order() []string {
	names := []string{"gain"}
	for _, hz := range responseHz {
		names = append(names, nameOfResponse(hz))
	}
	names = append(names, "noise, A-weighted", "hiss, A-weighted", "hum, total")
	for n := 1; n <= 3; n++ {
		names = append(names, nameOfHarmonic(n))
	}
	return append(names, "mains frequency", "level match", "delay match")
}

// tally is what became of one quantity's statements.
type tally struct {
	of, inside int
	bounds     int
	boundsHeld int
	// deviations and standard uncertainties, to see how the second states the
	// first.
	z []float64
	// over counts truths above the interval.
	over int
}

type tallies map[string]*tally

func (t tallies) add(all []seen) {
	for _, s := range all {
		if t[s.name] == nil {
			t[s.name] = &tally{}
		}
		t[s.name].add(s)
	}
}

func (t *tally) add(s seen) {
	if s.bound {
		t.bounds++
		if s.truth <= s.value {
			t.boundsHeld++
		}
		return
	}
	t.of++
	if math.Abs(s.value-s.truth) <= s.expanded {
		t.inside++
	} else if s.truth > s.value {
		t.over++
	}
	t.z = append(t.z, (s.value-s.truth)/s.std)
}

func (t *tally) share() float64 { return float64(t.inside) / float64(t.of) }

// statedOverActual is the standard uncertainty that was stated over the root
// mean square of the deviations, both relative to each statement.
func (t *tally) statedOverActual() float64 {
	sum := 0.0
	for _, z := range t.z {
		sum += z * z
	}
	return math.Sqrt(float64(t.of) / sum)
}

func (t *tally) bias() float64 {
	sum := 0.0
	for _, z := range t.z {
		sum += z
	}
	return sum / float64(t.of)
}

func (t *tally) worst() float64 {
	w := 0.0
	for _, z := range t.z {
		w = math.Max(w, math.Abs(z))
	}
	return w
}

const row = "%-20s %8s %9s %8s %8s %9s %7s %7s  %s\n"

func (t tallies) print(w io.Writer) {
	fmt.Fprintf(w, row, "quantity", "readings", "inside", "above", "below", "stated/", "bias,", "worst,", "bounds")
	fmt.Fprintf(w, row, "", "", "%", "%", "%", "actual", "u", "u", "held")
	fmt.Fprintln(w, strings.Repeat("-", 92))
	for _, name := range order() {
		x := t[name]
		if x == nil || x.of == 0 {
			continue
		}
		held := ""
		if x.bounds > 0 {
			held = fmt.Sprintf("%d of %d", x.boundsHeld, x.bounds)
		}
		percent := func(n int) string { return fmt.Sprintf("%.2f", 100*float64(n)/float64(x.of)) }
		fmt.Fprintf(w, row, name, fmt.Sprint(x.of), percent(x.inside), percent(x.over), percent(x.of-x.inside-x.over),
			fmt.Sprintf("%.3f", x.statedOverActual()), fmt.Sprintf("%+.2f", x.bias()), fmt.Sprintf("%.1f", x.worst()), held)
	}
}

// outside lists the quantities whose share of truths is not what was promised.
func (t tallies) outside(low, high float64) []string {
	var bad []string
	for name, x := range t {
		if x.of > 0 && (x.share() < low || x.share() > high) {
			bad = append(bad, name)
		}
	}
	slices.Sort(bad)
	return bad
}
