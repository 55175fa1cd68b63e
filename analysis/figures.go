package analysis

import "math"

// Magnitude is a response's magnitude in dB with its standard uncertainty,
// point by point: what gain, corners and flatness are read from.
type Magnitude struct {
	FrequencyHz []float64
	DB          []float64
	parts       []part
	// read is the magnitude at any frequency, without what is uncertain by parts;
	// nil where only points are known.
	read func(hz float64) (db float64)
	// known is how much is known at each point; nil where all are figures.
	known []known
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
func (m Magnitude) Between(i, j int) Budget { return m.between(i, m, j) }

// between is Between point i of m and j of o, which has the same parts.
func (m Magnitude) between(i int, o Magnitude, j int) Budget {
	var b []Contribution
	for k, p := range m.parts {
		if !p.shared {
			b = append(b, Contribution{p.source, p.kind, Hypot(p.std[i], o.parts[k].std[j]), p.rectangular})
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
