package verdict

import (
	"fmt"
	"math"
	"slices"

	"boardproof/analysis"
)

// sameHz is how far, relatively, the frequency that a limit names may lie
// from the reading's: a tone is placed on whole cycles, never farther off.
const sameHz = 0.005

// Apply holds what a step gave against the step's limits and masks. outputs
// are the board's, in order; a match is judged for each output but the
// reference.
//
// Every reading comes back, in order, with the limit that fits it best, or
// with none. A limit for which an output has no reading comes back as an
// absent reading, NotMeasured, with the reason for which it was refused.
// Finding no other tone beside a noise reading is a result: nothing comes
// back for it. Each mask gives one response reading per output, at the
// frequency where the curve does worst against it.
func Apply(s Step, outputs []string, rule Rule, got analysis.Result) []Judged {
	var judged []Judged
	for _, r := range got.Readings {
		j := Judged{Reading: r, Step: s.Name}
		if l := bestLimit(s.Limits, r); l != nil {
			j.hold(Limit{Min: l.Min, Max: l.Max}, rule)
		}
		judged = append(judged, j)
	}
	for _, l := range s.Limits {
		judged = append(judged, missing(s, l, outputs, got)...)
	}
	for _, m := range s.Masks {
		judged = append(judged, applyMask(s, m, outputs, rule, got)...)
	}
	return judged
}

func (j *Judged) hold(l Limit, rule Rule) {
	verdict, note := judgeReading(j.Reading, l, rule)
	j.Limit, j.Verdict = &l, verdict
	j.ChanceWrong = chanceWrong(verdict, j.Reading, l)
	if note != "" && j.Note != "" {
		note = j.Note + "; " + note
	}
	if note != "" {
		j.Note = note
	}
}

// fits says whether l applies to r.
func (l PlanLimit) fits(r analysis.Reading) bool {
	return l.Quantity == r.Quantity &&
		(l.Output == "" || l.Output == r.Output) &&
		(l.Reference == "" || l.Reference == r.Reference) &&
		(l.Weighting == "" || l.Weighting == r.Weighting) &&
		(l.Harmonic == 0 || l.Harmonic == r.Harmonic) &&
		(l.FrequencyHz == 0 || math.Abs(r.FrequencyHz-l.FrequencyHz) <= sameHz*l.FrequencyHz)
}

// names counts what l names beside its quantity.
func (l PlanLimit) names() int {
	n := 0
	for _, named := range []bool{l.Output != "", l.Reference != "", l.Harmonic != 0, l.FrequencyHz != 0} {
		if named {
			n++
		}
	}
	return n
}

// bestLimit is the limit that fits r and names most, the first of equals.
func bestLimit(limits []PlanLimit, r analysis.Reading) *PlanLimit {
	var best *PlanLimit
	for i := range limits {
		if l := &limits[i]; l.fits(r) && (best == nil || l.names() > best.names()) {
			best = l
		}
	}
	return best
}

// missing gives an absent reading for each output that l should have judged
// and could not.
func missing(s Step, l PlanLimit, outputs []string, got analysis.Result) []Judged {
	t := traits[l.Quantity]
	var judged []Judged
	for _, output := range expected(l, t, outputs) {
		at := l
		at.Output = output
		read := func(r analysis.Reading) bool {
			return at.fits(r) || t.mayBeNone && r.Quantity == analysis.Noise && r.Output == output
		}
		refused := func(r analysis.Refusal) bool {
			return r.Quantity == l.Quantity && (r.Output == "" || output == "" || r.Output == output)
		}
		found := slices.ContainsFunc(got.Readings, read)
		why := slices.IndexFunc(got.Refused, refused)
		if found && !(t.mayBeNone && why >= 0) {
			continue
		}
		reason := "the step gave no reading of it"
		if why >= 0 {
			reason = got.Refused[why].Reason
		}
		judged = append(judged, absent(s, analysis.Reading{
			Quantity: l.Quantity, Output: output, Reference: l.Reference,
			FrequencyHz: l.FrequencyHz, Harmonic: l.Harmonic, Weighting: l.Weighting, Note: reason,
		}, &Limit{Min: l.Min, Max: l.Max}))
	}
	return judged
}

func absent(s Step, r analysis.Reading, l *Limit) Judged {
	r.State, r.Unit = s.State, analysis.UnitOf(r.Quantity)
	return Judged{Reading: r, Step: s.Name, Limit: l, Verdict: NotMeasured, Absent: true}
}

// expected lists the outputs that l should find a reading at. A match is read
// at every output but the reference, which is the first where l names none.
// On a board that has no second output a match is not read at all.
func expected(l PlanLimit, t trait, outputs []string) []string {
	if l.Output != "" {
		return []string{l.Output}
	}
	if !t.match {
		return outputs
	}
	reference := l.Reference
	if reference == "" && len(outputs) > 0 {
		reference = outputs[0]
	}
	return slices.DeleteFunc(slices.Clone(outputs), func(o string) bool { return o == reference })
}

func applyMask(s Step, m Mask, outputs []string, rule Rule, got analysis.Result) []Judged {
	var judged []Judged
	for _, output := range outputs {
		if m.Output != "" && m.Output != output {
			continue
		}
		isIt := func(c analysis.Curve) bool { return c.Quantity == analysis.Response && c.Output == output }
		i := slices.IndexFunc(got.Curves, isIt)
		if i < 0 {
			judged = append(judged, absent(s, analysis.Reading{
				Quantity: analysis.Response, Output: output, Note: whyNoCurve(got.Refused, output),
			}, nil))
			continue
		}
		j, err := m.worst(got.Curves[i], rule)
		if err != nil {
			j = absent(s, analysis.Reading{
				Quantity: analysis.Response, Output: output, Note: fmt.Sprintf("judging the mask: %v", err),
			}, nil)
		}
		j.Step = s.Name
		judged = append(judged, j)
	}
	return judged
}

func whyNoCurve(refused []analysis.Refusal, output string) string {
	for _, r := range refused {
		if r.Quantity == analysis.Response && (r.Output == "" || r.Output == output) {
			return r.Reason
		}
	}
	return "the step gave no response curve"
}
