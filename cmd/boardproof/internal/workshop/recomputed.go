package workshop

import (
	"math"
	"reflect"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/db"
)

// Recomputed is what came of computing one run again, and its JSON.
type Recomputed struct {
	Of         string          `json:"recomputes"`
	Board      string          `json:"board"`
	Simulated  bool            `json:"simulated"`
	MethodThen string          `json:"method_then"`
	MethodNow  string          `json:"method_now"`
	Kept       string          `json:"run,omitempty"` // the new run
	Verdict    verdict.Outcome `json:"verdict,omitempty"`
	Failed     string          `json:"failed,omitempty"`
	Readings   []ReadingPair   `json:"readings"`
	Same       int             `json:"readings_same"`
	Curves     []CurvePair     `json:"curves"`
	CurvesSame int             `json:"curves_same"`
	// Refusals: what was refused is not the same.
	Refusals bool `json:"refusals_differ,omitempty"`
}

// ReadingPair is a reading then and now; one is nil where it was not made.
type ReadingPair struct {
	Then *verdict.Judged `json:"then,omitempty"`
	Now  *verdict.Judged `json:"now,omitempty"`
	// Same: to the last digit.
	Same bool `json:"-"`
}

// CurvePair is a curve that comes out otherwise. Difference is the largest of
// its points, now minus then; nil where they cannot be compared.
type CurvePair struct {
	Quantity   string   `json:"quantity"`
	Output     string   `json:"output,omitempty"`
	State      string   `json:"state,omitempty"`
	Unit       string   `json:"unit"`
	Difference *float64 `json:"difference,omitempty"`
}

// Otherwise says whether anything comes out otherwise.
func (d *Recomputed) Otherwise() bool {
	return slices.ContainsFunc(d.Readings, func(p ReadingPair) bool { return !p.Same }) || len(d.Curves) > 0 || d.Refusals
}

// compare pairs what was read with what is read, in the order of now.
func (d *Recomputed) compare(then, now db.Run) {
	left := slices.Clone(then.Readings)
	d.Readings, d.Curves = []ReadingPair{}, []CurvePair{}
	for i := range now.Readings {
		p := ReadingPair{Now: &now.Readings[i]}
		same := func(j verdict.Judged) bool { return sameReading(j, now.Readings[i]) }
		if at := slices.IndexFunc(left, same); at >= 0 {
			was := left[at]
			p.Then, left = &was, slices.Delete(left, at, at+1)
			p.Same = equalKept(was, now.Readings[i])
		}
		if p.Same {
			d.Same++
		}
		d.Readings = append(d.Readings, p)
	}
	for i := range left {
		d.Readings = append(d.Readings, ReadingPair{Then: &left[i]})
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

func (d *Recomputed) compareCurves(then, now []analysis.Curve) {
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
		p := CurvePair{Quantity: named.Quantity, Output: named.Output, State: named.State, Unit: named.Unit}
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
