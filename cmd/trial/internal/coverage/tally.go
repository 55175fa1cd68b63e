package coverage

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

// grossU is how many standard uncertainties off a reading is no scatter any
// more but a mistake. Such a one counts as outside like any other; it is listed
// for itself, and left out of the figures that one of them would swamp.
const grossU = 6.0

// tally is what became of one quantity's statements.
type tally struct {
	of, inside int
	// over counts truths above the interval.
	over       int
	bounds     int
	boundsHeld int
	// z are deviations over the standard uncertainties that are stated for
	// them, without the gross ones.
	z     []float64
	gross []string
}

type tallies map[string]*tally

// add counts what was seen of a board, which is called by its number.
func (t tallies) add(number int, board []seen) {
	for _, s := range board {
		if t[s.name] == nil {
			t[s.name] = &tally{}
		}
		t[s.name].add(number, s)
	}
}

func (t *tally) add(number int, s seen) {
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
	z := (s.value - s.truth) / s.std
	if !(math.Abs(z) <= grossU) {
		t.gross = append(t.gross, fmt.Sprintf("board %d: %s read as %.6g within %.2g, is %.6g", number, s.name, s.value, s.expanded, s.truth))
		return
	}
	t.z = append(t.z, z)
}

func (t *tally) share() float64 { return float64(t.inside) / float64(t.of) }

// statedOverActual is the standard uncertainty that was stated over the root
// mean square of the deviations, both relative to each statement.
func (t *tally) statedOverActual() float64 {
	sum := 0.0
	for _, z := range t.z {
		sum += z * z
	}
	return math.Sqrt(float64(len(t.z)) / sum)
}

func (t *tally) bias() float64 {
	sum := 0.0
	for _, z := range t.z {
		sum += z
	}
	return sum / float64(len(t.z))
}

const row = "%-20s %8s %9s %8s %8s %9s %7s %6s  %s\n"

func (t tallies) print(w io.Writer) {
	fmt.Fprintf(w, row, "quantity", "readings", "inside", "above", "below", "stated/", "bias,", "gross", "bounds")
	fmt.Fprintf(w, row, "", "", "%", "%", "%", "actual", "u", "", "held")
	fmt.Fprintln(w, strings.Repeat("-", 92))
	var gross []string
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
			fmt.Sprintf("%.3f", x.statedOverActual()), fmt.Sprintf("%+.2f", x.bias()), fmt.Sprint(len(x.gross)), held)
		gross = append(gross, x.gross...)
	}
	fmt.Fprintf(w, "\nstated/actual and bias without the %d gross ones, off by more than %g standard uncertainties\n", len(gross), grossU)
	for _, g := range gross {
		fmt.Fprintln(w, g)
	}
}

// inShort is the table in a line: all intervals together, and the quantities
// at the ends.
func (t tallies) inShort() string {
	var low, high, tight, wide string
	of, inside := 0, 0
	least := func(at *string, name string, of func(*tally) float64) {
		if *at == "" || of(t[name]) < of(t[*at]) {
			*at = name
		}
	}
	for _, name := range order() {
		x := t[name]
		if x == nil || x.of == 0 {
			continue
		}
		of, inside = of+x.of, inside+x.inside
		least(&low, name, (*tally).share)
		least(&high, name, func(x *tally) float64 { return -x.share() })
		least(&tight, name, (*tally).statedOverActual)
		least(&wide, name, func(x *tally) float64 { return -x.statedOverActual() })
	}
	if of == 0 {
		return ""
	}
	return fmt.Sprintf("%.2f %% of %d intervals hold the truth, %s %.2f, %s %.2f; stated over actual %.2f (%s) to %.2f (%s)",
		100*float64(inside)/float64(of), of, low, 100*t[low].share(), high, 100*t[high].share(),
		t[tight].statedOverActual(), tight, t[wide].statedOverActual(), wide)
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
