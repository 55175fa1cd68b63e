// Package verdict holds limits and the rule by which a reading is judged
// against one.
//
// In this room: limits, the decision rule, and the plan that says what is
// measured in which step against which limits. Not in this room: how a
// reading is made, and files.
package verdict

import (
	"encoding/json"

	"boardproof/analysis"
)

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
	// ChanceWrong is the chance, 0 to 1, that a conditional verdict is wrong:
	// that the true value is outside of what passes conditionally, or inside
	// of what fails so. Nil for other verdicts.
	ChanceWrong *float64 `json:"chance_wrong,omitempty"`
	// Settles says in words what would make a conditional verdict
	// unconditional. It is worked out when a run is shown, and not kept.
	Settles string `json:"settles,omitempty"`
	// Absent: a limit for which there was no reading at all. Note says why;
	// the reading's figures mean nothing and are left out of its JSON.
	Absent bool `json:"absent,omitempty"`
}

// MarshalJSON leaves the figures out of an absent reading, so that none can
// be taken for zero.
func (j Judged) MarshalJSON() ([]byte, error) {
	type plain Judged
	if !j.Absent {
		return json.Marshal(plain(j))
	}
	return json.Marshal(struct {
		plain
		Value        *float64 `json:"value,omitempty"`
		Uncertainty  *float64 `json:"uncertainty,omitempty"`
		K            *float64 `json:"k,omitempty"`
		FloorLimited *bool    `json:"floor_limited,omitempty"`
	}{plain: plain(j)})
}
