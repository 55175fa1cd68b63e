package report

import (
	"fmt"
	"math"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

const (
	// foldAbove is the longest list of harmonics or tones of one output that
	// is shown whole; a longer one is cut to its strongest keepStrongest and
	// whatever did not pass.
	foldAbove     = 8
	keepStrongest = 5
)

// group is the rows of one step.
type group struct {
	step, state string
	rows        []verdict.Judged
	cells       [][]string
	// folded holds the lines that stand after a row for rows left out.
	folded map[int][]string
}

func (g group) title() string {
	switch {
	case g.step != "" && g.state != "":
		return oneLine(g.step) + " (" + oneLine(g.state) + ")"
	case g.step != "":
		return oneLine(g.step)
	}
	return oneLine(g.state)
}

// grouped sorts rows by step, in the order in which steps first appear.
func grouped(rows []verdict.Judged, all bool) []group {
	var groups []group
	index := map[string]int{}
	for _, j := range rows {
		i, ok := index[j.Step]
		if !ok {
			i = len(groups)
			index[j.Step] = i
			groups = append(groups, group{step: j.Step})
		}
		groups[i].rows = append(groups[i].rows, j)
	}
	for i := range groups {
		groups[i].state = commonState(groups[i].rows)
		if !all {
			groups[i].fold()
		}
	}
	return groups
}

func commonState(rows []verdict.Judged) string {
	for _, j := range rows {
		if j.State != rows[0].State {
			return ""
		}
	}
	return rows[0].State
}

type list struct{ quantity, output, state string }

// fold leaves out the weaker members of long lists. One that did not pass its
// limit always stays.
func (g *group) fold() {
	members := map[list][]int{}
	for i, j := range g.rows {
		if j.Quantity == analysis.HumHarmonic || j.Quantity == analysis.OtherTone {
			k := list{j.Quantity, j.Output, j.State}
			members[k] = append(members[k], i)
		}
	}
	drop := map[int]bool{}
	note := map[int]string{}
	for _, m := range members {
		if len(m) <= foldAbove {
			continue
		}
		gone := weaker(g.rows, m)
		for _, i := range gone {
			drop[i] = true
		}
		note[m[len(m)-1]] = foldLine(g.rows, gone)
	}
	kept := g.rows[:0:0]
	g.folded = map[int][]string{}
	for i, j := range g.rows {
		if !drop[i] {
			kept = append(kept, j)
		}
		if n, ok := note[i]; ok && n != "" {
			g.folded[len(kept)-1] = append(g.folded[len(kept)-1], n)
		}
	}
	g.rows = kept
}

// weaker returns the members that can be left out.
func weaker(rows []verdict.Judged, members []int) []int {
	order := slices.Clone(members)
	slices.SortStableFunc(order, func(a, b int) int {
		ra, rb := rows[a], rows[b]
		if ra.UpperBound != rb.UpperBound {
			if rb.UpperBound {
				return -1
			}
			return 1
		}
		switch {
		case ra.Value > rb.Value:
			return -1
		case ra.Value < rb.Value:
			return 1
		}
		return 0
	})
	var gone []int
	for _, i := range order[keepStrongest:] {
		if v := rows[i].Verdict; v == "" || v == verdict.Pass {
			gone = append(gone, i)
		}
	}
	return gone
}

func foldLine(rows []verdict.Judged, gone []int) string {
	if len(gone) == 0 {
		return ""
	}
	strongest, bounds, judged := math.Inf(-1), 0, 0
	for _, i := range gone {
		if finite(rows[i].Value) {
			strongest = max(strongest, rows[i].Value)
		}
		if rows[i].UpperBound {
			bounds++
		}
		if rows[i].Verdict == verdict.Pass {
			judged++
		}
	}
	what := "harmonics"
	if rows[gone[0]].Quantity == analysis.OtherTone {
		what = "tones"
	}
	line := fmt.Sprintf("… %d more %s", len(gone), what)
	if finite(strongest) {
		up := math.Ceil(strongest*10) / 10
		line += fmt.Sprintf(", none above %s%s", signed(toPlace(up, -1), rows[gone[0]].Unit), space(oneLine(rows[gone[0]].Unit)))
	}
	if bounds > 0 {
		line += fmt.Sprintf(", %d not told from the noise", bounds)
	}
	if judged > 0 {
		line += fmt.Sprintf(", %d held against a limit: all PASS", judged)
	}
	return line + " (see --json)"
}
