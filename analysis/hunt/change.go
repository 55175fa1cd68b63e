package hunt

import "boardproof/analysis"

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

// Changes compares each condition with how the board was found, by output and
// group, in the order in which conditions were first met. Repeats of one
// condition are averaged; their scatter bears on the uncertainty of all, and
// where there are enough repeats a steady drift is taken out. It is empty
// where nothing was read as found.
func Changes(readings []Reading) []Change { return nil }

// String says the change in words with numbers: "fell by 31.2 ± 0.3 dB",
// "no change (+0.1 ± 0.4 dB)".
func (c Change) String() string { return "" }
