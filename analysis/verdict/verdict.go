// Package verdict holds limits and the rule by which a reading is judged
// against one.
//
// In this room: limits, the decision rule, and the plan that says what is
// measured in which step against which limits. Not in this room: how a
// reading is made, and files.
package verdict

import "boardproof/analysis"

// Outcome is the judgement of one reading.
type Outcome string

// The outcomes: JCGM 106:2012; ILAC-G8:09/2019, 4.2.3.
const (
	Pass            Outcome = "pass"
	ConditionalPass Outcome = "conditional pass"
	ConditionalFail Outcome = "conditional fail"
	Fail            Outcome = "fail"
	NotMeasured     Outcome = "not measured"
)

// Limit bounds a reading from below, above or both. At least one is set.
type Limit struct {
	Min *float64 `json:"min,omitempty"`
	Max *float64 `json:"max,omitempty"`
}

// Judged is a reading with the limit it was held against. Limit is nil and
// Verdict empty where the plan sets none.
type Judged struct {
	analysis.Reading
	Step    string  `json:"step,omitempty"`
	Limit   *Limit  `json:"limit,omitempty"`
	Verdict Outcome `json:"verdict,omitempty"`
}
