package sheet

import (
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
)

// mostRefused is how many refusals a player's sheet lists.
const mostRefused = 4

// remarks are what a reader must know beside the figures.
func remarks(s Source) []remark {
	all := []remark{{"How it was judged", []string{ruleWords(s)}}, {"What was not measured", notMeasured(s)}}
	return append(all, remark{"What the bench limits", []string{floorWords(s)}})
}

// ruleWords is the rule of decision and what it means.
func ruleWords(s Source) string {
	switch s.Plan.Rule {
	case verdict.Guarded:
		return "Each figure is known to within its uncertainty, which holds the truth 95 times in 100. The rule is “guarded”: a figure passes " +
			"only when it is inside its limit by at least that much, so a pass is wrong less than 2.5 times in 100. Nearer to the limit, on " +
			"either side, the verdict is called conditional (JCGM 106:2012; ILAC-G8:09/2019)."
	case verdict.Simple:
		return "The rule is “simple”: the figure alone decides, its uncertainty is not counted. Right at a limit, such a verdict " +
			"is wrong up to one time in two (JCGM 106:2012; ILAC-G8:09/2019)."
	}
	return "There was no test plan, so nothing was judged."
}

// notMeasured says plainly what nobody looked at, and what could not be read.
func notMeasured(s Source) []string {
	var lines []string
	if states := statesOf(s.Run.Readings); len(states) > 0 {
		lines = append(lines, "Measured with the board in this state: "+strings.Join(states, "; ")+". Nothing else about its devices was tested.")
	}
	if names := untold(s); len(names) > 0 {
		lines = append(lines, "Not part of this test: "+strings.Join(names, "; ")+".")
	}
	refused := report.RefusalLines(s.Run.Refused)
	for i, line := range refused {
		if i == mostRefused {
			lines = append(lines, fmt.Sprintf("%d more could not be measured; the bench copy lists them.", len(refused)-i))
			break
		}
		lines = append(lines, "Could not be measured: "+line+".")
	}
	if len(lines) == 0 {
		return []string{"Nothing was left out."}
	}
	return lines
}

func statesOf(rows []verdict.Judged) []string {
	var states []string
	for _, j := range rows {
		if state := report.OneLine(j.State); state != "" && !slices.Contains(states, state) {
			states = append(states, state)
		}
	}
	return states
}

// floorWords says which figures the bench, not the board, sets.
func floorWords(s Source) string {
	var names []string
	for _, j := range s.Run.Readings {
		if j.FloorLimited && !j.Absent && j.Verdict != "" {
			names = append(names, report.What(j.Reading))
		}
	}
	if len(names) == 0 {
		return "No figure that was judged is set by the bench's own noise or distortion."
	}
	return "Here the bench itself is no better than what was read, and the board may be: " + strings.Join(names, "; ") + "."
}

// facts say who measured, where, when and with what.
func facts(s Source, o Options) []fact {
	all := []fact{{"Measured", s.times(o)}}
	add := func(name, value string) {
		if value = report.OneLine(value); value != "" {
			all = append(all, fact{name, value})
		}
	}
	add("By", s.Run.Operator)
	add("On bench", benchWords(s))
	if s.PlanVersion != 0 {
		add("Test plan", fmt.Sprintf("%s, version %d", s.Plan.Name, s.PlanVersion))
	}
	add("Notes", s.Run.Notes)
	add("Read instead of", s.Run.Corrects)
	add("Run", s.Run.ID)
	add("Digest (SHA-256)", s.Digest)
	return all
}

func benchWords(s Source) string {
	bench := s.Run.Bench
	if p := s.Profile; p != nil {
		bench += ", calibrated " + p.Created.UTC().Format("2006-01-02") + ", valid until " + p.ValidUntil.UTC().Format("2006-01-02") + " (profile " + p.ID + ")"
	} else {
		bench += ", not calibrated: levels are relative"
	}
	if s.Run.Simulated {
		bench += ", SIMULATED"
	}
	return bench
}

// worthTerms says whether a reading has a budget worth printing.
func worthTerms(j verdict.Judged) bool {
	return !j.Absent && len(j.Budget) > 0 && j.Quantity != analysis.HumHarmonic
}
