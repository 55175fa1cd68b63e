package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// Format is the version of the JSON contract. Later versions of the program
// add keys to it; none changes or removes one.
const Format = "boardproof/1"

// Document is everything that one command measured, as JSON. Board, Run and
// Profile are null where there is none.
type Document struct {
	Format    string `json:"format"`
	Simulated bool   `json:"simulated"`
	Board     any    `json:"board"`
	Run       any    `json:"run"`
	Profile   any    `json:"profile"`
	// Hunt is a hum hunt, absent where there is none.
	Hunt any `json:"hunt,omitempty"`
	// Notes qualify the whole, such as levels that are relative to full scale
	// because the bench has no profile.
	Notes    []string           `json:"notes,omitempty"`
	Readings []verdict.Judged   `json:"readings"`
	Curves   []analysis.Curve   `json:"curves"`
	Refused  []analysis.Refusal `json:"refused"`
}

// Write writes doc as one line of JSON. Format is set, empty lists are [] and
// not null. JSON has no NaN and no infinity, and a quantity that was not
// measured is absent, never zero: such a reading, and a curve's points with
// such a figure, are left out and named in Refused with the reason. An absent
// reading stays, without figures, for its limit's sake and is in Refused too.
// Nothing is written if doc cannot be encoded.
func Write(w io.Writer, doc Document) error {
	b, err := json.Marshal(presentable(doc))
	if err != nil {
		return fmt.Errorf("encode results as JSON: %w", err)
	}
	if _, err := w.Write(append(b, '\n')); err != nil {
		return fmt.Errorf("write results as JSON: %w", err)
	}
	return nil
}

func presentable(doc Document) Document {
	readings, curves := doc.Readings, doc.Curves
	doc.Format = Format
	doc.Readings, doc.Curves = []verdict.Judged{}, []analysis.Curve{}
	doc.Refused = append([]analysis.Refusal{}, doc.Refused...)
	for _, j := range readings {
		reason := whyRefused(j)
		if reason != "" {
			doc.refuse(j.Quantity, j.Output, j.Reference, j.State, reason)
		}
		if reason == "" || j.Absent {
			doc.Readings = append(doc.Readings, j)
		}
	}
	for _, c := range curves {
		kept, reason := finitePoints(c)
		if reason != "" {
			doc.refuse(c.Quantity, c.Output, c.Reference, c.State, reason)
		}
		if len(kept.FrequencyHz) > 0 {
			doc.Curves = append(doc.Curves, kept)
		}
	}
	return doc
}

// refuse adds a refusal that is not there yet.
func (d *Document) refuse(quantity, output, reference, state, reason string) {
	r := analysis.Refusal{Quantity: quantity, Output: output, Reference: reference, State: state, Reason: reason}
	if !slices.Contains(d.Refused, r) {
		d.Refused = append(d.Refused, r)
	}
}

// whyRefused says why a reading has no figures to show, "" if it has.
func whyRefused(j verdict.Judged) string {
	switch {
	case j.Absent && j.Note != "":
		return j.Note
	case j.Absent:
		return string(verdict.NotMeasured)
	case !finite(j.Value):
		return "its value is not a finite number"
	case !finite(j.Uncertainty) || !finite(j.K):
		return "its uncertainty is not a finite number"
	case !finite(j.FrequencyHz):
		return "its frequency is not a finite number"
	case j.Limit != nil && !(finiteOrNil(j.Limit.Min) && finiteOrNil(j.Limit.Max)):
		return "its limit is not a finite number"
	}
	return ""
}

// finitePoints returns c without the points at which any figure is not finite,
// and a reason if anything is missing.
func finitePoints(c analysis.Curve) (analysis.Curve, string) {
	slices := []*[]float64{
		&c.FrequencyHz, &c.Value, &c.PhaseDeg, &c.PhaseUncertaintyDeg, &c.GroupDelayUS, &c.Uncertainty, &c.NoiseUncertainty, &c.LoopNoiseUncertainty,
	}
	n := len(c.FrequencyHz)
	if !finite(c.SharedUncertainty) {
		return analysis.Curve{}, "its shared uncertainty is not a finite number"
	}
	for i, s := range slices {
		optional := i > 1
		if len(*s) != n && !(optional && len(*s) == 0) {
			return analysis.Curve{}, fmt.Sprintf("curve is inconsistent: %d frequencies, but %d figures beside them", n, len(*s))
		}
	}
	var keep []int
	for i := range n {
		ok := true
		for _, s := range slices {
			ok = ok && (len(*s) == 0 || finite((*s)[i]))
		}
		if ok {
			keep = append(keep, i)
		}
	}
	if len(keep) == n {
		if n == 0 {
			return analysis.Curve{}, "curve has no points"
		}
		return c, ""
	}
	for _, s := range slices {
		*s = pick(*s, keep)
	}
	c.UpperBound, c.LowerBound = pick(c.UpperBound, keep), pick(c.LowerBound, keep)
	return c, fmt.Sprintf("%d of %s left out: not finite numbers", n-len(keep), Count(n, "point"))
}

func pick[T any](s []T, at []int) []T {
	if len(s) == 0 {
		return nil
	}
	picked := make([]T, len(at))
	for i, k := range at {
		picked[i] = s[k]
	}
	return picked
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func finiteOrNil(x *float64) bool { return x == nil || finite(*x) }
