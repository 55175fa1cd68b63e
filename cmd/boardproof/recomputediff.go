package main

import (
	"fmt"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
)

func (a *app) printRecomputed(d workshop.Recomputed, all bool) {
	simulated := ""
	if d.Simulated {
		simulated = ", SIMULATED"
	}
	a.wrapped("", fmt.Sprintf("run %s of board %s%s: methods %s then, %s now", d.Of, d.Board, simulated, d.MethodThen, d.MethodNow))
	if d.Failed != "" {
		a.wrapped("  ", d.Failed)
		return
	}
	for _, p := range d.Readings {
		if !p.Same || all {
			a.wrapped("  ", pairWords(p))
		}
	}
	for _, c := range d.Curves {
		text := fmt.Sprintf("curve %s, output %s: comes out otherwise", c.Quantity, c.Output)
		if c.Difference != nil {
			text += fmt.Sprintf(", by %.2g %s at most", *c.Difference, c.Unit)
		}
		a.wrapped("  ", text)
	}
	if d.Refusals {
		a.wrapped("  ", "what is refused is not the same")
	}
	a.wrapped("  ", fmt.Sprintf("the same to the last digit: %d of %s, %d of %s",
		d.Same, report.Count(len(d.Readings), "reading"), d.CurvesSame, report.Count(d.CurvesSame+len(d.Curves), "curve")))
	if d.Kept == "" {
		a.wrapped("  ", "nothing comes out otherwise, nothing was kept")
		return
	}
	a.wrapped("  ", fmt.Sprintf("kept as run %s, %s", d.Kept, d.Verdict))
}

// pairWords say what a reading was and is.
func pairWords(p workshop.ReadingPair) string {
	one := p.Now
	if one == nil {
		one = p.Then
	}
	text := report.What(one.Reading)
	if one.Output != "" {
		text += ", output " + one.Output
	}
	figure := func(j *verdict.Judged) string {
		if j == nil || j.Absent {
			return "not measured"
		}
		f := report.FigureOf(*j)
		words := f.Value + " ± " + f.Uncertainty
		if j.Verdict != "" {
			words += ", " + string(j.Verdict)
		}
		return words
	}
	text += ": " + figure(p.Then) + " then, " + figure(p.Now) + " now"
	if p.Then != nil && p.Now != nil && !p.Then.Absent && !p.Now.Absent && !p.Same {
		text += fmt.Sprintf(" (%+.2g %s)", p.Now.Value-p.Then.Value, p.Now.Unit)
	}
	return text
}
