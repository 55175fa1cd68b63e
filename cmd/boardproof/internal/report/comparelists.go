package report

import (
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"
)

// curveLines says of each curve whether it moved, and where most.
func curveLines(curves []change.CurveChange) []string {
	if len(curves) == 0 {
		return nil
	}
	lines := []string{"", "Curves, at the frequency where the difference stands out most:"}
	for _, c := range curves {
		name := What(analysis.Reading{Quantity: c.Quantity, Output: c.Output, Reference: c.Reference})
		bounds := ""
		if c.Bounds > 0 {
			bounds = fmt.Sprintf("; at %s it is under the noise, then or now: only a bound is known", Count(c.Bounds, "point"))
		}
		i := analysis.NearestIndex(c.FrequencyHz, c.WorstHz)
		if c.WorstHz == 0 || i < 0 {
			lines = append(lines, paragraph("  ", withState(name, c.State)+": stands out nowhere: "+changeWords(c.Outcome, c.WithinPlug)+bounds)...)
			continue
		}
		place := placeOf(c.Difference[i], c.Uncertainty[i])
		lines = append(lines, paragraph("  ", fmt.Sprintf("%s: %s dB ± %s at %s: %s", withState(name, c.State),
			signed(toPlace(c.Difference[i], place), "dB"), uncertaintyWords(c.Uncertainty[i], place), hertz(c.FrequencyHz[i]), changeWords(c.Outcome, c.WithinPlug))+bounds)...)
	}
	return lines
}

// harmonicLines sets the mains harmonics of each output side by side.
func harmonicLines(rows []change.Row) []string {
	type place struct{ step, state, output string }
	var places []place
	found := map[place]map[int]change.Row{}
	for _, r := range rows {
		if r.After.Quantity != analysis.HumHarmonic {
			continue
		}
		p := place{r.After.Step, r.After.State, r.After.Output}
		if found[p] == nil {
			found[p] = map[int]change.Row{}
			places = append(places, p)
		}
		found[p][r.After.Harmonic] = r
	}
	var lines []string
	for _, p := range places {
		title := "Mains harmonics, output " + oneLine(p.output)
		lines = append(lines, "")
		lines = append(lines, paragraph("", withState(title, p.state)+":")...)
		var cells [][]string
		for n := 1; n <= harmonicsShown; n++ {
			if r, ok := found[p][n]; ok {
				c := compareCells(r, false)
				c[0] = fmt.Sprintf("%2d", n)
				if r.After.FrequencyHz > 0 {
					c[0] += "  " + hertz(r.After.FrequencyHz)
				}
				cells = append(cells, c)
			}
		}
		cols := compareColumns()
		cols[0].head = " n"
		fit(cols, cells)
		for _, c := range append([][]string{heads(cols)}, cells...) {
			for _, l := range layRow(cols, c, nil) {
				lines = append(lines, gap+l)
			}
		}
	}
	return lines
}

func unpairedLines(all []change.Unpaired) []string {
	if len(all) == 0 {
		return nil
	}
	lines := []string{"", "Without a partner in the other run:"}
	type cause struct {
		now            bool
		output, reason string
	}
	var causes []cause
	names := map[cause][]string{}
	for _, u := range all {
		k := cause{u.Now, u.Output, u.Reason}
		name := quantityWords(u.Reading)
		if u.Quantity == analysis.HumHarmonic {
			name = "mains harmonics"
		}
		if names[k] == nil {
			causes = append(causes, k)
		}
		if !slices.Contains(names[k], name) {
			names[k] = append(names[k], name)
		}
	}
	for _, k := range causes {
		text := fmt.Sprintf("%s, output %s: %s", whenWords(k.now), oneLine(k.output), strings.Join(names[k], ", "))
		if k.reason != "" {
			text += ": " + oneLine(k.reason)
		}
		lines = append(lines, paragraph("  ", text)...)
	}
	return lines
}

func whenWords(now bool) string {
	if now {
		return "only now"
	}
	return "only then"
}
