package report

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Figure is a reading as people read it: each with its unit, and a dash where
// there is none.
type Figure struct {
	Value, Uncertainty, Limit, Margin string
}

// FigureOf words a reading with the digits that its uncertainty allows.
func FigureOf(j verdict.Judged) Figure {
	f := figureOf(j)
	return Figure{Value: f.value, Uncertainty: f.uncertainty, Limit: f.limit, Margin: f.margin}
}

// Rounded is the value of a reading with its unit for a reader who does not
// care for the last digit: none finer than 10^finest, and none finer than its
// uncertainty allows. A bound is rounded away from what it bounds.
func Rounded(r analysis.Reading, finest int) string {
	if !finite(r.Value) {
		return none
	}
	if isPolarity(r.Quantity) {
		return polarityWords(r.Value)
	}
	factor, unit := scaleUnit(math.Abs(r.Value), r.Unit)
	v := r.Value * factor
	place := finest
	if r.Uncertainty > 0 && finite(r.Uncertainty) && !r.UpperBound && !r.LowerBound {
		place = max(place, placeOf(v, r.Uncertainty*factor))
	}
	step := math.Pow10(place)
	switch {
	case r.UpperBound:
		return "under " + signed(toPlace(math.Ceil(v/step-1e-9)*step, place), unit) + space(unit)
	case r.LowerBound:
		return "over " + signed(toPlace(math.Floor(v/step+1e-9)*step, place), unit) + space(unit)
	}
	return signed(toPlace(v, place), unit) + space(unit)
}

// Terms are the largest contributions to a reading's uncertainty, at most so
// many, each with its size as a standard uncertainty and its share of the
// variance; where there is no budget, one line that says why.
func Terms(j verdict.Judged, most int) []string {
	if why := noBudget(j); why != "" {
		return []string{why}
	}
	combined, unit := j.Budget.Std(), uncertaintyUnit(oneLine(j.Unit))
	sorted := slices.Clone(j.Budget)
	slices.SortStableFunc(sorted, func(a, b analysis.Contribution) int {
		switch {
		case a.Std > b.Std:
			return -1
		case a.Std < b.Std:
			return 1
		}
		return 0
	})
	var terms []string
	for _, c := range sorted[:min(most, len(sorted))] {
		terms = append(terms, oneLine(c.Source)+" ("+oneLine(c.Kind)+") "+stdWords(c.Std, unit)+", "+shareWords(c.Std, combined))
	}
	return terms
}

// VerdictWords is a verdict as tables say it.
func VerdictWords(o verdict.Outcome) string { return verdictWords(o) }

// ConditionLine says how likely a conditional verdict is wrong and what would
// settle it, "" where there is no condition.
func ConditionLine(j verdict.Judged) string {
	return strings.ReplaceAll(conditionLine(j), noBreak, " ")
}

// RefusalLines words what could not be measured, those of one output and one
// reason together.
func RefusalLines(all []analysis.Refusal) []string { return refusalLines(all) }

// OneLine makes text from elsewhere safe to print on one line.
func OneLine(s string) string { return oneLine(s) }

// Painter returns what draws p on a canvas of any size, an error where nothing
// can be drawn.
func (p ResponsePlot) Painter() (func(draw.Canvas), error) {
	l, err := p.levels()
	if err != nil {
		return nil, err
	}
	return l.paint, drawable(l.curves)
}

// Strip is the height of what n marks above the spectrum.
func (n NoisePlot) Strip() vg.Length { return vg.Length(len(n.rows())) * rowHeight }

// Painter is like that of a ResponsePlot.
func (n NoisePlot) Painter() (func(draw.Canvas), error) { return n.paint, drawable(n.Curves) }
