package hunt

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

// Change is what a condition did to one group at one output.
type Change struct {
	Output    string    `json:"output"`
	Group     string    `json:"group"`
	Condition Condition `json:"condition"`
	// DB is the level under the condition less the level as found, in dB with
	// its standard uncertainty; the full scale that both share is not in it.
	DB analysis.Estimate `json:"db"`
	// ExpandedDB is the expanded uncertainty, k = 2.
	ExpandedDB float64 `json:"expanded_db"`
	// NoChange: the change is smaller than its expanded uncertainty.
	NoChange bool `json:"no_change,omitempty"`
	// AtMost: under the condition only an upper bound is known, and the group
	// fell to DB.Value or further. AtLeast: as found there was only a bound,
	// and it rose to DB.Value or further. Both: nothing was there either time,
	// and DB means nothing.
	AtMost  bool `json:"at_most,omitempty"`
	AtLeast bool `json:"at_least,omitempty"`
	// FloorLimited: one of the two levels is the bench's own.
	FloorLimited bool `json:"floor_limited,omitempty"`
	// Moving, where not empty, says what was moving: ask for a repeat.
	Moving string `json:"moving,omitempty"`
	// Repeats is how many takes of the condition are in it.
	Repeats int `json:"repeats"`
}

const (
	// repeatDB is how well a level repeats where too few repeats say so, and
	// repeatWorth how many repeats that is worth: common practice, no source.
	repeatDB    = 0.1
	repeatWorth = 2.0
	// driftRepeats are needed to take a drift out, and it must be so many
	// standard uncertainties: one that is not there would cost much certainty.
	driftRepeats = 2
	driftSigmas  = 3.0
	// movedDB and movedSigmas between repeats of one condition are a move.
	movedDB     = 1.0
	movedSigmas = 4.0
)

// Changes compares each condition with how the board was found, by output and
// group, in the order in which conditions were first met. Repeats of one
// condition are averaged; their scatter bears on the uncertainty of all, and
// where there are enough repeats a steady drift that shows is taken out. It is empty
// where nothing was read as found.
func Changes(readings []Reading) []Change {
	var out []Change
	for _, output := range outputsOf(readings) {
		for _, group := range Groups() {
			s := newSeries(readings, output, group)
			for i, c := range s.conditions {
				if c != AsFound && s.index(AsFound) >= 0 {
					out = append(out, s.change(i))
				}
			}
		}
	}
	return out
}

func outputsOf(readings []Reading) []string {
	var names []string
	seen := map[string]bool{}
	for _, r := range readings {
		if !seen[r.Output] {
			seen[r.Output] = true
			names = append(names, r.Output)
		}
	}
	return names
}

func (s *series) change(i int) Change {
	base := s.index(AsFound)
	c := Change{
		Output: s.output, Group: s.group, Condition: s.conditions[i],
		AtMost: s.bound[i], AtLeast: s.bound[base], Moving: s.moved[i],
	}
	c.DB.Value = s.mean[i] - s.mean[base]
	if !c.AtMost && !c.AtLeast {
		c.DB.Std = math.Sqrt(math.Max(0, s.cov.At(i, i)+s.cov.At(base, base)-2*s.cov.At(i, base)))
	} else {
		c.DB.Std = math.Sqrt(s.cov.At(i, i) + s.cov.At(base, base))
	}
	if c.Moving == "" {
		c.Moving = s.moved[base]
	}
	for _, t := range s.takes {
		if t.condition == i {
			c.Repeats++
		}
		if t.condition == i || t.condition == base {
			c.FloorLimited = c.FloorLimited || t.FloorLimited
			if c.Moving == "" {
				c.Moving = t.moving
			}
		}
	}
	c.ExpandedDB = analysis.CoverageK * c.DB.Std
	switch {
	case c.AtMost && c.AtLeast:
		c.NoChange = true
	case c.AtMost:
		c.NoChange = c.DB.Value > -c.ExpandedDB
	case c.AtLeast:
		c.NoChange = c.DB.Value < c.ExpandedDB
	default:
		c.NoChange = math.Abs(c.DB.Value) <= c.ExpandedDB
	}
	return c
}

// String says the change in words with numbers: "fell by 31.2 ± 0.3 dB",
// "did not change (+0.1 ± 0.4 dB)".
func (c Change) String() string {
	by := math.Abs(c.DB.Value)
	switch {
	case c.AtMost && c.AtLeast:
		return "was not there either time"
	case c.NoChange && (c.AtMost || c.AtLeast):
		return "was too near the noise to tell a change"
	case c.AtMost:
		return fmt.Sprintf("fell by %.1f dB or more", by)
	case c.AtLeast:
		return fmt.Sprintf("rose by %.1f dB or more", by)
	case c.NoChange:
		return fmt.Sprintf("did not change (%+.1f ± %.1f dB)", c.DB.Value, c.ExpandedDB)
	case c.DB.Value < 0:
		return fmt.Sprintf("fell by %.1f ± %.1f dB", by, c.ExpandedDB)
	}
	return fmt.Sprintf("rose by %.1f ± %.1f dB", by, c.ExpandedDB)
}
