package verdict

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/testsignals"
)

// patches are capture's patchings; a test holds the two lists together.
var patches = []string{"board", "loopback", "terminated", "swapped"}

// MaxRepeats is how often a signal can be taken for one average.
const MaxRepeats = 100

var (
	weightings = []string{"none", "A", "468"}
	kinds      = []testsignals.Kind{
		testsignals.Sweep, testsignals.Impulses, testsignals.Tone, testsignals.Silence,
	}
)

// planHz bounds every frequency that a plan may name.
var planHz = [2]float64{1, testsignals.MaxRateHz / 2}

func (p Plan) check() error {
	plain := func(format string, args ...any) error {
		return &planError{-1, -1, -1, fmt.Sprintf(format, args...)}
	}
	switch {
	case p.Format != PlanFormat:
		return plain("format %q is not known: this version reads format = %q", p.Format, PlanFormat)
	case p.Name == "":
		return plain("it has no name: give it one, name = \"...\"")
	case p.Rule != Guarded && p.Rule != Simple:
		return plain("rule %q is not known: use \"guarded\" or \"simple\"", p.Rule)
	case len(p.Steps) == 0:
		return plain("it has no steps: add at least one [[step]]")
	}
	for i, s := range p.Steps {
		named := func(o Step) bool { return o.Name == s.Name }
		if j := slices.IndexFunc(p.Steps, named); j < i {
			return &planError{i, -1, -1, fmt.Sprintf("step %q is there twice: give one of them another name", s.Name)}
		}
		if err := s.check(i); err != nil {
			return err
		}
	}
	return nil
}

func (s Step) check(i int) error {
	if text := s.wrong(); text != "" {
		return &planError{i, -1, -1, fmt.Sprintf("step %q: %s", s.Name, text)}
	}
	for j, l := range s.Limits {
		text := l.wrong(s)
		if text == "" {
			text = l.clash(s.Limits[:j])
		}
		if text != "" {
			return &planError{i, j, -1, fmt.Sprintf("step %q, limit %d (%s): %s", s.Name, j+1, l.Quantity, text)}
		}
	}
	for j, m := range s.Masks {
		if text := m.wrong(s); text != "" {
			return &planError{i, -1, j, fmt.Sprintf("step %q, mask %d: %s", s.Name, j+1, text)}
		}
	}
	return nil
}

// wrong says what is wrong with the step itself and what to do, "" if nothing.
func (s Step) wrong() string {
	switch {
	case s.Name == "":
		return "it has no name: give it one, name = \"...\""
	case s.State == "":
		return "it has no state: say what is engaged, as in state = \"all bypassed\""
	case !slices.Contains(patches, s.Patch):
		return fmt.Sprintf("patch %q is not known: use one of %s", s.Patch, strings.Join(patches, ", "))
	case len(s.Signals) == 0:
		return "it plays nothing: add signals, as in signals = [\"sweep\"]"
	case !within(s.LevelDBu, -90, 30):
		return fmt.Sprintf("level_dbu %g is outside -90 to 30 dBu: correct it", s.LevelDBu)
	case s.DurationS != 0 && len(s.Signals) > 1:
		return "duration_s is for steps that play one signal: take it out or split the step in two"
	case s.DurationS != 0 && !within(s.DurationS, 0.5, 300):
		return fmt.Sprintf("duration_s %g is outside 0.5 to 300 s: correct it", s.DurationS)
	case s.Repeats > 1 && slices.Contains(s.Reads(), analysis.DropOuts):
		return "drop_outs are not averaged: take repeats out, and set duration_s for longer"
	}
	for i, k := range s.Signals {
		if !slices.Contains(kinds, k) {
			return fmt.Sprintf("signal %q is not known: use sweep, impulses, tone or silence", k)
		}
		if slices.Index(s.Signals, k) < i {
			return fmt.Sprintf("signal %q is there twice: take one out", k)
		}
	}
	return ""
}

func (l PlanLimit) wrong(s Step) string {
	t, known := traits[l.Quantity]
	switch {
	case !known:
		return fmt.Sprintf("quantity %q is not known: use one of %s", l.Quantity,
			strings.Join(slices.Sorted(maps.Keys(traits)), ", "))
	case !slices.ContainsFunc(s.Signals, func(k testsignals.Kind) bool { return slices.Contains(t.signals, k) }):
		return fmt.Sprintf("it cannot be read from %s: move it to a step that plays %s", join(s.Signals), join(t.signals))
	case l.Min == nil && l.Max == nil:
		return "it has neither min nor max: give it one of them"
	}
	if text := sides(l.Min, l.Max); text != "" {
		return text
	}
	return l.wrongNames(t)
}

// wrongNames checks what the limit names beside its quantity.
func (l PlanLimit) wrongNames(t trait) string {
	banded := l.banded()
	switch {
	case t.weighted && !slices.Contains(weightings, l.Weighting):
		return fmt.Sprintf("weighting %q is not known: use \"none\", \"A\" or \"468\"", l.Weighting)
	case !t.weighted && l.Weighting != "":
		return "it has no weighting: take weighting out"
	case l.Harmonic != 0 && (!t.harmonic || l.Harmonic < 0):
		return "harmonic counts from 1 and is for hum_harmonic only: correct it or take it out"
	case l.FrequencyHz != 0 && !t.frequency:
		return "it is not read at a frequency: take frequency_hz out"
	case l.FrequencyHz != 0 && !within(l.FrequencyHz, planHz[0], planHz[1]):
		return fmt.Sprintf("frequency_hz %g is outside %g to %g Hz: correct it", l.FrequencyHz, planHz[0], planHz[1])
	case t.banded && !banded:
		return "it needs a band: add band_hz = [40.0, 10000.0]"
	case !t.banded && banded:
		return "it is not read over a band: take band_hz out"
	case banded && !(within(l.BandHz[0], planHz[0], planHz[1]) && within(l.BandHz[1], l.BandHz[0], planHz[1])):
		return fmt.Sprintf("band_hz from %g to %g must rise and lie within %g to %g Hz: correct it",
			l.BandHz[0], l.BandHz[1], planHz[0], planHz[1])
	case !t.match && l.Reference != "":
		return "it is not compared with another output: take reference out"
	case t.match && l.Reference != "" && l.Reference == l.Output:
		return fmt.Sprintf("output and reference are both %q: name two", l.Output)
	}
	return ""
}

// clash finds an earlier limit that l cannot stand beside.
func (l PlanLimit) clash(earlier []PlanLimit) string {
	for _, e := range earlier {
		if e.banded() && l.banded() && e.BandHz != l.BandHz {
			return "a step is read over one band only: put the other band into a step of its own"
		}
		e.Min, e.Max, e.Source = l.Min, l.Max, l.Source
		if e == l {
			return "the same limit is there twice: take one out"
		}
	}
	return ""
}

func (m Mask) wrong(s Step) string {
	if !slices.Contains(s.Signals, testsignals.Sweep) && !slices.Contains(s.Signals, testsignals.Impulses) {
		return fmt.Sprintf("a response cannot be read from %s: move the mask to a step that plays a sweep", join(s.Signals))
	}
	if m.RelativeToHz != 0 && !within(m.RelativeToHz, planHz[0], planHz[1]) {
		return fmt.Sprintf("relative_to_hz %g is outside %g to %g Hz: correct it", m.RelativeToHz, planHz[0], planHz[1])
	}
	if len(m.Points) < 2 {
		return "it needs at least two points: add them"
	}
	first := m.Points[0]
	if first.Min == nil && first.Max == nil {
		return "its points have neither min nor max: give them one"
	}
	last := 0.0
	for i, pt := range m.Points {
		text := sides(pt.Min, pt.Max)
		switch {
		case !within(pt.FrequencyHz, planHz[0], planHz[1]) || pt.FrequencyHz <= last:
			text = fmt.Sprintf("frequency_hz %g must be above the point before and within %g to %g Hz: correct it",
				pt.FrequencyHz, planHz[0], planHz[1])
		case (pt.Min == nil) != (first.Min == nil) || (pt.Max == nil) != (first.Max == nil):
			text = "it has other sides than the first point: give every point min, or max, or both"
		}
		if text != "" {
			return fmt.Sprintf("point %d: %s", i+1, text)
		}
		last = pt.FrequencyHz
	}
	return ""
}

func sides(lo, hi *float64) string {
	switch {
	case lo != nil && !finite(*lo) || hi != nil && !finite(*hi):
		return "min and max must be finite numbers: correct them"
	case lo != nil && hi != nil && *lo > *hi:
		return fmt.Sprintf("min %g is above max %g: exchange or correct them", *lo, *hi)
	}
	return ""
}

func join(kinds []testsignals.Kind) string {
	var names []string
	for _, k := range kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, " or ")
}

// within is false for NaN.
func within(v, lo, hi float64) bool { return v >= lo && v <= hi }
