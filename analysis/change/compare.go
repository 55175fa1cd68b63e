package change

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Side is one of the two runs.
type Side struct {
	Readings []verdict.Judged
	Curves   []analysis.Curve
	Refused  []analysis.Refusal
}

// Outcome says what is to be thought of a difference.
type Outcome string

const (
	// Real: beyond scatter, with all that was compared taken together.
	Real Outcome = "real"
	// Maybe: beyond scatter on its own, but one in twenty is by chance.
	Maybe Outcome = "maybe"
	// Unchanged: no more than scatter does.
	Unchanged Outcome = "unchanged"
	// CannotTell: a bound, a figure without an uncertainty, or one that is not
	// tested, does not say.
	CannotTell Outcome = "cannot tell"
	// NotTheBoard: the figure is of the mains or of the bench.
	NotTheBoard Outcome = "not of the board"
)

// Row is one reading then and now.
type Row struct {
	Before verdict.Judged `json:"before"`
	After  verdict.Judged `json:"after"`
	// Difference is after − before in Unit, dB for dBu, with its expanded Uncertainty (k
	// = 2) and what that consists of. Of two bounds it means nothing.
	Difference  float64         `json:"difference"`
	Unit        string          `json:"unit"`
	Uncertainty float64         `json:"uncertainty"`
	K           float64         `json:"k"`
	Budget      analysis.Budget `json:"budget,omitempty"`
	// Bound is "at least" or "at most" where one of the two is a bound.
	Bound string `json:"bound,omitempty"`
	// P is the chance of such a difference without any change, and PTogether
	// with all tests taken together (Holm). Nil where there was no test.
	P         *float64 `json:"p,omitempty"`
	PTogether *float64 `json:"p_together,omitempty"`
	Outcome   Outcome  `json:"change"`
	// WithinPlug: no more than plugging a lead again does, by the figure that
	// the profile itself has for it. A small thing even where it is real.
	WithinPlug bool `json:"within_plug,omitempty"`
}

// Unpaired is a reading or a curve that only one of the runs has.
type Unpaired struct {
	analysis.Reading
	Step string `json:"step,omitempty"`
	// Now: only the later run has it.
	Now bool `json:"now"`
	// Reason says why the other has not, where it is known.
	Reason string `json:"reason,omitempty"`
}

// Comparison is what came of comparing two runs.
type Comparison struct {
	Findings []Finding     `json:"findings"`
	Rows     []Row         `json:"differences"`
	Curves   []CurveChange `json:"curve_differences"`
	Unpaired []Unpaired    `json:"unpaired"`
	// Tests is how many were taken together.
	Tests int `json:"tests"`
}

// Compare compares two runs of one board. Rows come with what is real first,
// among them what a person acts on, then by size in terms of the uncertainty.
func Compare(before, after Side, ties Ties) Comparison {
	var c Comparison
	pairs, left := pair(before.Readings, after.Readings)
	moved := benchMoved(pairs)
	for _, p := range pairs {
		c.Rows = append(c.Rows, compareReadings(p[0], p[1], ties, moved))
	}
	c.Unpaired = explained(left, before, after)
	c.Curves = compareCurves(before.Curves, after.Curves, ties, moved)
	for i := range c.Curves {
		c.Curves[i].withinPlug(c.Rows)
	}
	c.judge()
	slices.SortStableFunc(c.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.rank(), b.rank()), cmp.Compare(a.place(), b.place()), cmp.Compare(b.size(), a.size()))
	})
	c.Findings = explain(c)
	return c
}

// rank puts what is real and more than a plug does first.
func (r Row) rank() int {
	n := 2 * slices.Index([]Outcome{Real, Maybe, CannotTell, Unchanged, NotTheBoard}, r.Outcome)
	if r.WithinPlug {
		n++
	}
	return n
}

// place puts first what a person acts on, and last what follows from it.
func (r Row) place() int {
	order := []string{analysis.DropOuts, analysis.Polarity, analysis.PolarityMatch, analysis.Gain, analysis.Level, analysis.LevelMatch,
		analysis.WorstLevelMatch, analysis.HighCorner, analysis.LowCorner, analysis.Flatness, analysis.Hum, analysis.Noise, analysis.Hiss,
		analysis.OtherTone, analysis.THD, analysis.THDN}
	if at := slices.Index(order, r.After.Quantity); at >= 0 {
		return at
	}
	return len(order)
}

// plugU is what plugging a lead once then and once now does to a reading,
// expanded, by what its budgets say of the loopback lead.
func plugU(readings ...analysis.Reading) float64 {
	var std []float64
	for _, r := range readings {
		for _, c := range r.Budget {
			if c.Source == sourcePlug {
				std = append(std, c.Std)
			}
		}
	}
	return analysis.CoverageK * analysis.Hypot(std...)
}

// size is the difference in terms of its uncertainty; only what changed is
// sorted by it.
func (r Row) size() float64 {
	if r.Outcome != Real && r.Outcome != Maybe || r.Uncertainty == 0 {
		return 0
	}
	return math.Abs(r.Difference) / r.Uncertainty
}

func isSign(quantity string) bool {
	return quantity == analysis.Polarity || quantity == analysis.PolarityMatch
}

func compareReadings(before, after verdict.Judged, ties Ties, moved map[string]float64) Row {
	b := between(budgetOf(before.Reading), budgetOf(after.Reading), ties)
	if s := shift(after.Reading, moved); s != 0 {
		b = append(b, analysis.Contribution{Source: sourceBench, Kind: "B", Std: math.Abs(s) / math.Sqrt(3), Rectangular: true})
	}
	d := after.Value - before.Value
	r := Row{Before: before, After: after, WithinPlug: math.Abs(d) <= plugU(before.Reading, after.Reading), Difference: d, Unit: unitOfDifference(after.Unit),
		Uncertainty: b.Expanded(), K: analysis.CoverageK, Budget: b, Outcome: Unchanged}
	switch {
	case !ofTheBoard(after.Quantity):
		r.Outcome = NotTheBoard
	case isSign(after.Quantity):
		if r.Difference != 0 {
			r.Outcome = Real
		}
	case untested(before.Reading, after.Reading):
		r.Outcome = CannotTell
	case after.Quantity == analysis.DropOuts:
		r.P = new(countChance(before.Value, after.Value))
	default:
		r.test()
	}
	return r
}

// benchMoved is by how many dB the gain of the bench at each output changed
// between the two runs' checks before use.
func benchMoved(pairs [][2]verdict.Judged) map[string]float64 {
	moved := map[string]float64{}
	for _, p := range pairs {
		if p[0].Quantity == analysis.BenchGainDrift {
			moved[p[0].Output] = p[1].Value - p[0].Value
		}
	}
	return moved
}

// shift is what such a change does to a reading that is not put right for it.
func shift(r analysis.Reading, moved map[string]float64) float64 {
	switch r.Quantity {
	case analysis.Gain, analysis.Level:
		return moved[r.Output]
	case analysis.LevelMatch, analysis.WorstLevelMatch:
		return moved[r.Output] - moved[r.Reference]
	}
	return 0
}

// unitOfDifference: levels differ by dB.
func unitOfDifference(unit string) string {
	if unit == "dBu" {
		return "dB"
	}
	return unit
}
