package analysis

import (
	"fmt"
	"math"
)

// What is read of a response is its truth and noise, both complex. Near zero the
// magnitude of their sum is the noise's own (Rice's distribution): it is never small,
// and its decibels are not normal. Noise alone passes harmonicHeard times its mean power
// once in e^9 times; what does not pass it is at most what was read and two standard
// deviations of the noise along it, which holds in 97.5 % or more.

// hiddenRelStd is the standard uncertainty, relative to the magnitude, from which on a
// point is under what is uncertain of it: that of harmonicHeard times the noise in power.
var hiddenRelStd = 1 / math.Sqrt(2*harmonicHeard)

// known is how much is known of a magnitude.
type known uint8

const (
	isFigure  known = iota
	isAtMost        // it is under the noise
	isAtLeast       // of a ratio: the reference is
	isNothing       // of a ratio: both are
)

// pair is what output and reference of a ratio are each uncertain by, relative.
type pair struct{ output, reference float64 }

// known is what g tells at each point.
func (g *Gated) known() []known {
	out := make([]known, len(g.H))
	hidden := func(std float64) bool { return !(std < hiddenRelStd) }
	for i := range out {
		of := pair{output: g.phaseStd(i)}
		if g.pairs != nil {
			of = g.pairs[i]
		}
		switch {
		case hidden(of.output) && hidden(of.reference):
			// Noise that both carry alike cancels in a ratio, not in what is known of it.
			out[i] = isNothing
		case !hidden(g.phaseStd(i)) && !hidden(of.reference):
		case of.reference > of.output:
			out[i] = isAtLeast
		default:
			out[i] = isAtMost
		}
	}
	return out
}

// pairWith is what g and r, its reference, are each uncertain by.
func (g *Gated) pairWith(r *Gated) []pair {
	out := make([]pair, len(g.H))
	for i := range out {
		out[i] = pair{g.phaseStd(i), r.phaseStd(i)}
	}
	return out
}

// meanPairs is that of the mean of several takes with weights as [take][grid point]; nil
// where they are no ratios.
func meanPairs(takes []*Gated, weights [][]float64) []pair {
	if takes[0].pairs == nil {
		return nil
	}
	out := make([]pair, len(takes[0].pairs))
	for i := range out {
		for t, g := range takes {
			out[i].output = Hypot(out[i].output, weights[t][i]*g.pairs[i].output)
			out[i].reference = Hypot(out[i].reference, weights[t][i]*g.pairs[i].reference)
		}
	}
	return out
}

// is says what is known at point i.
func (m Magnitude) is(i int) known {
	if m.known == nil {
		return isFigure
	}
	return m.known[i]
}

// bound is the level at point i that is not exceeded or, at least there, not fallen below.
func (m Magnitude) bound(i int) float64 {
	shared := 0.0
	for _, p := range m.parts {
		if p.shared {
			shared = Hypot(shared, p.std[i])
		}
	}
	away := DB(1+CoverageK*m.ownStd(i)/DBFromRelative(1)) + CoverageK*shared
	if m.is(i) == isAtLeast {
		away = -away
	}
	return m.DB[i] + away
}

// bounded puts into c, which m is the figures of, where it is but a bound. Where nothing
// is known c has no figure.
func (m Magnitude) bounded(c *Curve) {
	for i := range m.DB {
		what := m.is(i)
		if what == isFigure {
			continue
		}
		if c.UpperBound == nil {
			c.UpperBound = make([]bool, len(m.DB))
		}
		if what == isAtLeast && c.LowerBound == nil {
			c.LowerBound = make([]bool, len(m.DB))
		}
		c.Value[i], c.Uncertainty[i], c.NoiseUncertainty[i] = m.bound(i), 0, 0
		switch what {
		case isAtMost:
			c.UpperBound[i] = true
		case isAtLeast:
			c.LowerBound[i] = true
		default:
			c.Value[i] = math.NaN()
		}
		if c.PhaseUncertaintyDeg != nil {
			c.PhaseUncertaintyDeg[i] = 180
		}
	}
}

// withoutGaps is c without the points at which it has no figure, and with a note where
// points are bounds.
func (c Curve) withoutGaps() Curve {
	var keep []int
	bounds, lowHz, highHz := 0, math.Inf(1), 0.0
	for i, v := range c.Value {
		if math.IsNaN(v) || at(c.UpperBound, i) || at(c.LowerBound, i) {
			bounds, lowHz, highHz = bounds+1, math.Min(lowHz, c.FrequencyHz[i]), math.Max(highHz, c.FrequencyHz[i])
		}
		if !math.IsNaN(v) {
			keep = append(keep, i)
		}
	}
	if bounds > 0 {
		c.Note = joinedNotes(c.Note, fmt.Sprintf("at %d of %d points, from %.0f to %.0f Hz, under the noise: only a bound", bounds, len(c.Value), lowHz, highHz))
	}
	if len(keep) == len(c.Value) {
		return c
	}
	return c.only(keep)
}

// only is c at some of its points.
func (c Curve) only(keep []int) Curve {
	for _, s := range []*[]float64{&c.FrequencyHz, &c.Value, &c.PhaseDeg, &c.PhaseUncertaintyDeg, &c.GroupDelayUS, &c.Uncertainty, &c.NoiseUncertainty, &c.LoopNoiseUncertainty} {
		*s = picked(*s, keep)
	}
	c.UpperBound, c.LowerBound = picked(c.UpperBound, keep), picked(c.LowerBound, keep)
	return c
}

func at(flags []bool, i int) bool { return i < len(flags) && flags[i] }

// picked is those of s, which may be empty.
func picked[T any](s []T, which []int) []T {
	if len(s) == 0 {
		return s
	}
	out := make([]T, len(which))
	for i, k := range which {
		out[i] = s[k]
	}
	return out
}
