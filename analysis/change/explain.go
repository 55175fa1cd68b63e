package change

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"boardproof/analysis"
)

// Finding is a real change in words: what it is, and what it is like. Words
// are a hint where to look first; they prove nothing.
type Finding struct {
	Outputs []string `json:"outputs,omitempty"`
	Outcome Outcome  `json:"change"`
	What    string   `json:"what"`
	Like    string   `json:"like,omitempty"`
	Look    string   `json:"look,omitempty"`
	// weight sorts findings: what stops a board from working goes first.
	weight float64
}

// explain words what is real in c.
func explain(c Comparison) []Finding {
	out := slices.Concat(dropOutFindings(c), signFindings(c), refusedFindings(c), responseFindings(c), humFindings(c), noiseFindings(c), toneFindings(c), distortionFindings(c))
	if len(out) == 0 {
		out = plainFindings(c)
	}
	slices.SortStableFunc(out, func(a, b Finding) int { return cmp.Compare(b.weight, a.weight) })
	return out
}

const (
	weightDropOuts = 1000
	weightSign     = 900
	weightRefused  = 800
)

func dropOutFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		was, is := r.Before.Value, r.After.Value
		if r.After.Quantity != analysis.DropOuts || is == 0 || is <= was {
			continue
		}
		f := Finding{Outputs: []string{r.After.Output}, Outcome: r.Outcome, weight: weightDropOuts + is,
			What: fmt.Sprintf("output %s: %.0f drop-outs while the joints were flexed, %.0f then", r.After.Output, is, was),
			Like: "like a cracked joint, a loose jack or a broken conductor"}
		if r.Outcome != Real {
			f.Like += "; so few may have been missed then, but a sound joint has none"
		}
		if r.After.Note != "" {
			f.Look = r.After.Note
		}
		out = append(out, f)
	}
	return out
}

func signFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.After.Quantity != analysis.Polarity || r.Outcome != Real {
			continue
		}
		out = append(out, Finding{Outputs: []string{r.After.Output}, Outcome: Real, weight: weightSign,
			What: fmt.Sprintf("output %s is turned over: its polarity is the other way round than then", r.After.Output),
			Like: "like the two wires of a plug, a jack or a transformer winding swapped, or an inverting device now in the path"})
	}
	return out
}

// bands are the parts of a response that are worded, each on its own: one
// board may have two faults.
var bands = []struct {
	of   func(parts) float64
	what func(db float64, s shape) string
	like func(db float64, ahead bool) string
}{
	{func(p parts) float64 { return p.level },
		func(db float64, _ shape) string { return "%s " + louder(db) + " at all frequencies alike" },
		func(db float64, _ bool) string { return levelLike(db) }},
	{func(p parts) float64 { return p.treble },
		func(db float64, s shape) string {
			return lostOrGained(db) + " " + decibels(db) + " of treble at 10 kHz" + from(s, db, true)
		}, trebleLike},
	{func(p parts) float64 { return p.bass },
		func(db float64, s shape) string {
			return lostOrGained(db) + " " + decibels(db) + " of bass at 50 Hz" + from(s, db, false)
		},
		func(db float64, _ bool) string { return bassLike(db) }},
}

// changed is a response that really changed, and how.
type changed struct {
	c CurveChange
	parts
}

// responseFindings joins outputs that changed alike.
func responseFindings(c Comparison) []Finding {
	var all []changed
	outputs := map[string]bool{}
	var out []Finding
	for _, k := range c.Curves {
		if k.Quantity != analysis.Response {
			continue
		}
		outputs[k.Output] = true
		if k.Outcome != Real || k.WithinPlug {
			continue
		}
		p := partsOf(k)
		if p.level == 0 && p.treble == 0 && p.bass == 0 || !p.shape.fits {
			out = append(out, irregular(k, p))
		}
		all = append(all, changed{k, p})
	}
	for _, b := range bands {
		done := make([]bool, len(all))
		for i, k := range all {
			db := b.of(k.parts)
			if done[i] || db == 0 {
				continue
			}
			alike := []string{k.c.Output}
			for j := i + 1; j < len(all); j++ {
				if o := all[j]; !done[j] && o.c.State == k.c.State && o.c.Output != k.c.Output && near(db, b.of(o.parts)) {
					done[j], alike = true, append(alike, o.c.Output)
				}
			}
			ahead := len(alike) == len(outputs)
			what := b.what(db, k.shape)
			if strings.Contains(what, "%s") {
				what = fmt.Sprintf(what, isOrAre(alike))
			}
			out = append(out, Finding{Outputs: alike, Outcome: Real, weight: 100 + math.Abs(db),
				What: named(alike) + " " + what + inState(k.c.State), Like: b.like(db, ahead), Look: where(alike, len(outputs))})
		}
	}
	return out
}

// near: a fifth of the larger, or 0.1 dB: common practice, no source.
func near(x, y float64) bool {
	return y != 0 && math.Abs(x-y) <= math.Max(0.1, 0.2*math.Max(math.Abs(x), math.Abs(y)))
}

// irregular is a difference that one resistor and one capacitor do not make.
func irregular(c CurveChange, p parts) Finding {
	at := c.at(c.WorstHz)
	f := Finding{Outputs: []string{c.Output}, Outcome: Real, weight: 90,
		What: fmt.Sprintf("output %s: the response differs, most clearly by %s at %s%s", c.Output, signedDB(c.Difference[at]), hertz(c.WorstHz), inState(c.State))}
	if band := bandWords(c); band != "" && !p.shape.fits {
		f.What = fmt.Sprintf("output %s %s, not as one resistor and one capacitor do it; most clearly %s at %s%s",
			c.Output, band, signedDB(c.Difference[at]), hertz(c.WorstHz), inState(c.State))
		f.Like = "like a tone control that was moved, a device that filters now in the path, or more than one fault; see the plot"
		return f
	}
	if !p.shape.fits {
		f.Like = "like no single part: not what one resistor and one capacitor do (a comb, a resonance, or more than one fault); see the plot"
	}
	return f
}

// leastBandDB is a loss or gain at an end of the band that is worth a word of its
// own: common practice, no source.
const leastBandDB = 0.3

// bandWords says that one end of the band changed and the other did not, whatever
// its shape; "" where it is not so.
func bandWords(c CurveChange) string {
	if len(c.FrequencyHz) == 0 || c.FrequencyHz[0] > 50 || c.FrequencyHz[len(c.FrequencyHz)-1] < 10000 {
		return ""
	}
	for _, end := range []struct {
		hz       float64
		from, to float64
		words    string
	}{{10000, 1500, 10000, "treble at 10 kHz"}, {50, 50, 600, "bass at 50 Hz"}} {
		db := c.Difference[c.at(end.hz)] - c.Difference[c.at(1000)]
		if math.Abs(db) >= leastBandDB && c.onlyFrom(end.from, end.to, db) {
			return lostOrGained(db) + " " + decibels(db) + " of " + end.words
		}
	}
	return ""
}

// onlyFrom is whether c departs towards db between two frequencies and hardly
// outside of them, as a comb or a resonance does not: a third of db either way.
func (c CurveChange) onlyFrom(lowHz, highHz, db float64) bool {
	mid := c.Difference[c.at(1000)]
	for i, f := range c.FrequencyHz {
		if f < 50 || f > 10000 {
			continue
		}
		share := (c.Difference[i] - mid) / db
		if share < -0.33 || share > 1.33 || share > 0.33 && (f < lowHz || f > highHz) {
			return false
		}
	}
	return true
}

func inState(state string) string {
	if state == "" {
		return ""
	}
	return " (" + state + ")"
}

func isOrAre(outputs []string) string {
	if len(outputs) > 1 {
		return "are"
	}
	return "is"
}

func levelLike(db float64) string {
	if db < 0 {
		return "like added series resistance (a worn contact, a corroded joint), a heavier load, or a control that was moved"
	}
	return "like a load that is gone, a series resistance less, or a control that was moved"
}

func trebleLike(db float64, ahead bool) string {
	if db > 0 {
		return "like capacitance that is gone (a shorter lead, a device taken out) or a tone control that was moved"
	}
	if ahead {
		return "like added capacitance (a longer or damaged cable) or a failing joint ahead of the buffer"
	}
	return "like added capacitance (a longer or damaged cable) or a failing joint in its own lead"
}

func bassLike(db float64) string {
	if db < 0 {
		return "like a coupling capacitor that has dried out, a lower load behind one, or a joint that only couples"
	}
	return "like a coupling capacitor that was replaced by a larger one, or a load behind it that is gone"
}

// from says where a first-order change sets in.
func from(s shape, db float64, high bool) string {
	corner := s.PoleHz
	if high == (db > 0) {
		corner = s.ZeroHz
	}
	if !s.fits || !(corner > 1.2*cornersFromHz && corner < cornersToHz/1.2) {
		return ""
	}
	return fmt.Sprintf(", first-order from about %s", hertz(corner))
}

func where(outputs []string, total int) string {
	switch {
	case total < 2:
		return ""
	case len(outputs) == total:
		return "alike at every output: look ahead of the split first"
	}
	return "not at every output: look behind the split, at " + named(outputs)
}

// refusedFindings are responses that could be measured then and not now.
func refusedFindings(c Comparison) []Finding {
	var out []Finding
	for _, u := range c.Unpaired {
		if u.Quantity == analysis.Gain && !u.Now && u.Reason != "" && !slices.ContainsFunc(out, func(f Finding) bool { return f.Outputs[0] == u.Output }) {
			out = append(out, Finding{Outputs: []string{u.Output}, Outcome: Real, weight: weightRefused,
				What: fmt.Sprintf("output %s: no response could be read any more: %s", u.Output, u.Reason)})
		}
	}
	return out
}

func plainFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.Outcome == Real && !r.WithinPlug {
			out = append(out, Finding{Outputs: outputsOf(r.After.Output), Outcome: Real, weight: r.size(),
				What: fmt.Sprintf("%s%s moved by %s %s", strings.ReplaceAll(r.After.Quantity, "_", " "), atOutput(r.After.Output), signedFigure(r.Difference), r.Unit)})
		}
	}
	return out
}

func outputsOf(name string) []string {
	if name == "" {
		return nil
	}
	return []string{name}
}

func atOutput(name string) string {
	if name == "" {
		return ""
	}
	return " at output " + name
}
