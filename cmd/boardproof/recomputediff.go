package main

import (
	"fmt"
	"math"
	"reflect"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// recomputed is what came of computing one run again, and its JSON.
type recomputed struct {
	Of         string          `json:"recomputes"`
	Board      string          `json:"board"`
	Simulated  bool            `json:"simulated"`
	MethodThen string          `json:"method_then"`
	MethodNow  string          `json:"method_now"`
	Kept       string          `json:"run,omitempty"` // the new run
	Verdict    verdict.Outcome `json:"verdict,omitempty"`
	Failed     string          `json:"failed,omitempty"`
	Readings   []readingPair   `json:"readings"`
	Same       int             `json:"readings_same"`
	Curves     []curvePair     `json:"curves"`
	CurvesSame int             `json:"curves_same"`
	// Refusals: what was refused is not the same.
	Refusals bool `json:"refusals_differ,omitempty"`
}

// readingPair is a reading then and now; one is nil where it was not made.
type readingPair struct {
	Then *verdict.Judged `json:"then,omitempty"`
	Now  *verdict.Judged `json:"now,omitempty"`
	same bool
}

// curvePair is a curve that comes out otherwise. Difference is the largest of
// its points, now minus then; nil where they cannot be compared.
type curvePair struct {
	Quantity   string   `json:"quantity"`
	Output     string   `json:"output,omitempty"`
	State      string   `json:"state,omitempty"`
	Unit       string   `json:"unit"`
	Difference *float64 `json:"difference,omitempty"`
}

func (d *recomputed) otherwise() bool {
	return slices.ContainsFunc(d.Readings, func(p readingPair) bool { return !p.same }) || len(d.Curves) > 0 || d.Refusals
}

// compare pairs what was read with what is read, in the order of now.
func (d *recomputed) compare(then, now db.Run) {
	left := slices.Clone(then.Readings)
	d.Readings, d.Curves = []readingPair{}, []curvePair{}
	for i := range now.Readings {
		p := readingPair{Now: &now.Readings[i]}
		same := func(j verdict.Judged) bool { return sameReading(j, now.Readings[i]) }
		if at := slices.IndexFunc(left, same); at >= 0 {
			was := left[at]
			p.Then, left = &was, slices.Delete(left, at, at+1)
			p.same = equalKept(was, now.Readings[i])
		}
		if p.same {
			d.Same++
		}
		d.Readings = append(d.Readings, p)
	}
	for i := range left {
		d.Readings = append(d.Readings, readingPair{Then: &left[i]})
	}
	d.compareCurves(then.Curves, now.Curves)
	d.Refusals = !slices.Equal(then.Refused, now.Refused)
}

// sameReading says whether two readings are of one thing. A tone between the
// bins may move by a little.
func sameReading(a, b verdict.Judged) bool {
	return a.Step == b.Step && a.Quantity == b.Quantity && a.Output == b.Output && a.Reference == b.Reference && a.State == b.State &&
		a.Harmonic == b.Harmonic && a.Weighting == b.Weighting && math.Abs(a.FrequencyHz-b.FrequencyHz) <= 0.001*math.Abs(b.FrequencyHz)
}

// equalKept compares all that is kept of a reading.
func equalKept(a, b verdict.Judged) bool {
	for _, j := range []*verdict.Judged{&a, &b} {
		j.Settles = ""
		if j.Absent {
			j.Value, j.Uncertainty, j.K = 0, 0, 0
		}
		if len(j.Budget) == 0 {
			j.Budget = nil
		}
	}
	return reflect.DeepEqual(a, b)
}

func (d *recomputed) compareCurves(then, now []analysis.Curve) {
	for i := range max(len(then), len(now)) {
		var a, b analysis.Curve
		if i < len(then) {
			a = then[i]
		}
		if i < len(now) {
			b = now[i]
		}
		if reflect.DeepEqual(a, b) {
			d.CurvesSame++
			continue
		}
		named := b
		if i >= len(now) {
			named = a
		}
		p := curvePair{Quantity: named.Quantity, Output: named.Output, State: named.State, Unit: named.Unit}
		if a.Quantity == b.Quantity && a.Output == b.Output && slices.Equal(a.FrequencyHz, b.FrequencyHz) {
			worst := 0.0
			for k := range a.Value {
				if diff := b.Value[k] - a.Value[k]; math.Abs(diff) > math.Abs(worst) {
					worst = diff
				}
			}
			p.Difference = &worst
		}
		d.Curves = append(d.Curves, p)
	}
}

func (a *app) printRecomputed(d recomputed, all bool) {
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
		if !p.same || all {
			a.wrapped("  ", p.words())
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

// words say what a reading was and is.
func (p readingPair) words() string {
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
	if p.Then != nil && p.Now != nil && !p.Then.Absent && !p.Now.Absent && !p.same {
		text += fmt.Sprintf(" (%+.2g %s)", p.Now.Value-p.Then.Value, p.Now.Unit)
	}
	return text
}
