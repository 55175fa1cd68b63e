package analysis

import (
	"errors"
	"fmt"
	"math"
)

// Magnitude is a response's magnitude in dB with its standard uncertainty,
// point by point: what gain, corners and flatness are read from.
type Magnitude struct {
	FrequencyHz []float64
	DB          []float64
	parts       []part
}

// part is one source of the uncertainty of a magnitude, in dB, point by point.
type part struct {
	source, kind string
	std          []float64
	rectangular  bool
	// shared: it moves all points alike, so it cancels between two of them.
	shared bool
}

// addShared appends a source of uncertainty that moves all points alike.
func (m *Magnitude) addShared(c Contribution) {
	all := make([]float64, len(m.DB))
	for i := range all {
		all[i] = c.Std
	}
	m.parts = append(m.parts, part{source: c.Source, kind: c.Kind, std: all, rectangular: c.Rectangular, shared: true})
}

// Budget returns what the uncertainty at point i consists of, in dB.
func (m Magnitude) Budget(i int) Budget {
	var b []Contribution
	for _, p := range m.parts {
		b = append(b, Contribution{p.source, p.kind, p.std[i], p.rectangular})
	}
	return nonzero(b...)
}

// Between returns the budget of the difference between points i and j: what
// they share cancels.
func (m Magnitude) Between(i, j int) Budget {
	var b []Contribution
	for _, p := range m.parts {
		if !p.shared {
			b = append(b, Contribution{p.source, p.kind, Hypot(p.std[i], p.std[j]), p.rectangular})
		}
	}
	return nonzero(b...)
}

// Std returns the whole standard uncertainty at point i in dB.
func (m Magnitude) Std(i int) float64 { return m.Budget(i).Std() }

// sharedExpanded is the part of the expanded uncertainty u of each point that
// all points share: what is left of u without it, in squares, is nowhere less
// than the expanded uncertainty of what they do not share.
func (m Magnitude) sharedExpanded(u []float64) float64 {
	shared := math.Inf(1)
	for i := range u {
		var own Budget
		for _, p := range m.parts {
			if !p.shared {
				own = append(own, Contribution{Std: p.std[i], Rectangular: p.rectangular})
			}
		}
		shared = math.Min(shared, sq(u[i])-sq(own.Expanded()))
	}
	if math.IsInf(shared, 1) {
		return 0
	}
	return math.Sqrt(math.Max(0, shared))
}

// expanded returns the expanded uncertainty of each point in dB.
func (m Magnitude) expanded() []float64 {
	u := make([]float64, len(m.DB))
	for i := range u {
		u[i] = m.Budget(i).Expanded()
	}
	return u
}

// noiseExpanded returns the type A part of each point's uncertainty, expanded.
func (m Magnitude) noiseExpanded() []float64 {
	u := make([]float64, len(m.DB))
	for i := range u {
		u[i] = CoverageK * m.Budget(i).typeAStd()
	}
	return u
}

// expandedOf returns one source's part of each point's uncertainty, expanded; nil
// where there is none.
func (m Magnitude) expandedOf(source string) []float64 {
	for _, p := range m.parts {
		if p.source != source {
			continue
		}
		u := make([]float64, len(p.std))
		for i, std := range p.std {
			u[i] = CoverageK * std
		}
		return u
	}
	return nil
}

// cornerDB is how far below the gain at 1 kHz a corner is: half the power.
var cornerDB = 10 * math.Log10(2)

// ErrNoCorner is wrapped when the response does not fall by 3 dB inside the
// measured band; the text says where it ends.
var ErrNoCorner = errors.New("the response does not fall by 3 dB inside the measured band")

// Corner finds the frequency in hertz nearest to 1 kHz, below it (low) or
// above, at which the response has fallen by 3.01 dB from its value there.
// The uncertainty is that of the level against 1 kHz divided by the local
// slope. Where there is no corner the value is the end of the band.
func (m Magnitude) Corner(low bool) (hz float64, b Budget, err error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	if ref < 0 {
		return 0, nil, errors.New("there is no response at 1 kHz")
	}
	step := 1
	if low {
		step = -1
	}
	target := m.DB[ref] - cornerDB
	for i := ref + step; i >= 0 && i < len(m.DB); i += step {
		if m.DB[i] > target {
			continue
		}
		f, slope := m.crossing(i-step, step, target)
		return f, m.Between(i, ref).times(f / math.Abs(slope)), nil
	}
	end := m.FrequencyHz[len(m.FrequencyHz)-1]
	if low {
		end = m.FrequencyHz[0]
	}
	return end, nil, ErrNoCorner
}

// crossing returns where, between grid point i and the next one in direction
// step, the magnitude passes target, and its slope there in dB for a factor e
// in frequency. Between the points it is a cubic through four of them, or a
// straight line at the ends of the grid.
func (m Magnitude) crossing(i, step int, target float64) (f, slope float64) {
	at := func(k int) float64 { return m.DB[i+k*step] }
	cubic := i-step >= 0 && i-step < len(m.DB) && i+2*step >= 0 && i+2*step < len(m.DB)
	value := func(x float64) float64 {
		if !cubic {
			return at(0) + x*(at(1)-at(0))
		}
		a, b, c, d := at(-1), at(0), at(1), at(2)
		return -a*x*(x-1)*(x-2)/6 + b*(x+1)*(x-1)*(x-2)/2 - c*(x+1)*x*(x-2)/2 + d*(x+1)*x*(x-1)/6
	}
	low, high := 0.0, 1.0
	for range 50 {
		if x := (low + high) / 2; value(x) > target {
			low = x
		} else {
			high = x
		}
	}
	perStep := math.Log(m.FrequencyHz[i+step] / m.FrequencyHz[i])
	return m.FrequencyHz[i] * math.Exp(low*perStep), (at(1) - at(0)) / perStep
}

// Flatness returns the largest departure in dB, without sign, from the
// response at 1 kHz between lowHz and highHz, and the frequency where it is.
func (m Magnitude) Flatness(lowHz, highHz float64) (db float64, b Budget, atHz float64, err error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	at := -1
	for i, f := range m.FrequencyHz {
		if f < lowHz || f > highHz {
			continue
		}
		if at < 0 || math.Abs(m.DB[i]-m.DB[ref]) > math.Abs(m.DB[at]-m.DB[ref]) {
			at = i
		}
	}
	if at < 0 {
		return 0, nil, 0, fmt.Errorf("no response was measured from %g to %g Hz", lowHz, highHz)
	}
	return math.Abs(m.DB[at] - m.DB[ref]), m.Between(at, ref), m.FrequencyHz[at], nil
}
