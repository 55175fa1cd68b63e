package analysis

import (
	"fmt"
	"math"
	"slices"
)

// reading builds a Reading from a value and what its uncertainty consists of,
// both in the quantity's unit.
func reading(quantity, output string, value float64, b Budget) Reading {
	return Reading{Quantity: quantity, Output: output, Unit: UnitOf(quantity), Value: value,
		Uncertainty: b.Expanded(), K: CoverageK, Budget: b}
}

// refuse adds a refusal for each quantity.
func (r *Result) refuse(output, reference, reason string, quantities ...string) {
	for _, q := range quantities {
		r.Refused = append(r.Refused, Refusal{Quantity: q, Output: output, Reference: reference, Reason: reason})
	}
}

// qualify adds a note to the readings and curves of quantities.
func (r *Result) qualify(note string, quantities ...string) {
	for i := range r.Readings {
		if o := &r.Readings[i]; slices.Contains(quantities, o.Quantity) {
			o.Note = joinedNotes(o.Note, note)
		}
	}
	for i := range r.Curves {
		if c := &r.Curves[i]; slices.Contains(quantities, c.Quantity) {
			c.Note = joinedNotes(c.Note, note)
		}
	}
}

// joinedNotes is two notes, either of which may be empty.
func joinedNotes(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// setState marks all of r with the state it was read in.
func (r *Result) setState(state string) {
	for i := range r.Readings {
		r.Readings[i].State = state
	}
	for i := range r.Curves {
		r.Curves[i].State = state
	}
	for i := range r.Refused {
		r.Refused[i].State = state
	}
}

// Band is a range of frequencies in hertz.
type Band struct{ LowHz, HighHz float64 }

// DefaultBand is where flatness and the worst level match are read unless a
// plan says otherwise: common practice for guitar, no source.
var DefaultBand = Band{40, 10000}

func (b Band) String() string { return fmt.Sprintf("%g to %g Hz", b.LowHz, b.HighHz) }

// phaseCurve returns phase in degrees, its expanded uncertainty, and group
// delay in microseconds, of g with delayS more taken out. benchRelStd and
// benchDelayStd are what the profile adds: relative to the response at a
// point, which is radians, and in seconds.
func (g *Gated) phaseCurve(delayS float64, benchRelStd func(i int) float64, benchDelayStd float64) (deg, uDeg, groupUS []float64) {
	n := len(g.H)
	rad := make([]float64, n)
	for i, h := range g.H {
		z := h * cis(2*math.Pi*g.FrequencyHz[i]*delayS)
		rad[i] = math.Atan2(imag(z), real(z))
	}
	unwrap(rad)
	ref := NearestIndex(g.FrequencyHz, gridReferenceHz)
	turns := 2 * math.Pi * math.Round(rad[ref]/(2*math.Pi))
	deg, uDeg, groupUS = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range rad {
		deg[i] = (rad[i] - turns) * 180 / math.Pi
		std := Hypot(g.phaseStd(i), benchRelStd(i), 2*math.Pi*g.FrequencyHz[i]*benchDelayStd)
		uDeg[i] = CoverageK * std * 180 / math.Pi
		a, b := max(0, i-1), min(n-1, i+1)
		groupUS[i] = -(rad[b] - rad[a]) / (2 * math.Pi * (g.FrequencyHz[b] - g.FrequencyHz[a])) * 1e6
	}
	return deg, uDeg, groupUS
}
