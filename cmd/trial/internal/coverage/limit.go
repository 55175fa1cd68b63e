package coverage

import (
	"fmt"
	"io"
	"strings"

	"boardproof/analysis/verdict"
)

// outcomes counts verdicts of one quantity.
type outcomes map[verdict.Outcome]int

// limited are the quantities that are judged, one reading a board.
var limited = []string{"gain", "noise, A-weighted", "hum, total", "level match", "delay match"}

// judge holds the first reading of each quantity of each board against an
// upper limit that is exactly its truth.
func judge(boards [][]seen) map[string]outcomes {
	all := map[string]outcomes{}
	for _, name := range limited {
		all[name] = outcomes{}
		for _, board := range boards {
			for _, s := range board {
				if s.name == name && !s.bound {
					all[name][verdict.Judge(s.value, s.expanded, false, verdict.Limit{Max: &s.truth}, verdict.Guarded)]++
					break
				}
			}
		}
	}
	return all
}

var fourOutcomes = []verdict.Outcome{verdict.Pass, verdict.ConditionalPass, verdict.ConditionalFail, verdict.Fail}

// closedForm is what an interval of k = 2 of a normal distribution gives, in
// percent: (1 − erf(√2))/2 beyond each end.
var closedForm = []float64{2.275, 47.725, 47.725, 2.275}

const outcomeRow = "%-20s %6s %8s %17s %17s %8s\n"

func printOutcomes(w io.Writer, all map[string]outcomes) {
	fmt.Fprintf(w, outcomeRow, "limit at the truth", "runs", "pass", "conditional pass", "conditional fail", "fail")
	fmt.Fprintln(w, strings.Repeat("-", 81))
	line := func(name, runs string, percent func(i int) float64) {
		cells := []any{name, runs}
		for i := range fourOutcomes {
			cells = append(cells, fmt.Sprintf("%.2f %%", percent(i)))
		}
		fmt.Fprintf(w, outcomeRow, cells...)
	}
	line("closed form", "", func(i int) float64 { return closedForm[i] })
	for _, name := range limited {
		runs := 0
		for _, o := range fourOutcomes {
			runs += all[name][o]
		}
		if runs > 0 {
			line(name, fmt.Sprint(runs), func(i int) float64 { return 100 * float64(all[name][fourOutcomes[i]]) / float64(runs) })
		}
	}
}
