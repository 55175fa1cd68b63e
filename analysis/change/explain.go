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
	out := slices.Concat(dropOutFindings(c), signFindings(c), responseFindings(c), humFindings(c), noiseFindings(c), toneFindings(c), distortionFindings(c))
	if len(out) == 0 {
		out = plainFindings(c)
	}
	slices.SortStableFunc(out, func(a, b Finding) int { return cmp.Compare(b.weight, a.weight) })
	return out
}

const (
	weightDropOuts = 1000
	weightSign     = 900
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

// responseFindings joins outputs that changed alike.
func responseFindings(c Comparison) []Finding {
	type one struct {
		c CurveChange
		p parts
	}
	var changed []one
	total := map[string]bool{}
	for _, k := range c.Curves {
		if k.Quantity != analysis.Response {
			continue
		}
		total[k.Output] = true
		if k.Outcome == Real {
			changed = append(changed, one{k, partsOf(k)})
		}
	}
	var out []Finding
	done := make([]bool, len(changed))
	for i, a := range changed {
		if done[i] {
			continue
		}
		outputs := []string{a.c.Output}
		for j := i + 1; j < len(changed); j++ {
			if b := changed[j]; !done[j] && b.c.State == a.c.State && b.c.Output != a.c.Output && alike(a.p, b.p) {
				done[j], outputs = true, append(outputs, b.c.Output)
			}
		}
		out = append(out, responseFinding(a.c, a.p, outputs, len(total)))
	}
	return out
}

// alike: a fifth of the larger, or 0.1 dB: common practice, no source.
func alike(a, b parts) bool {
	near := func(x, y float64) bool {
		return math.Abs(x-y) <= math.Max(0.1, 0.2*math.Max(math.Abs(x), math.Abs(y)))
	}
	return near(a.level, b.level) && near(a.treble, b.treble) && near(a.bass, b.bass)
}

func responseFinding(c CurveChange, p parts, outputs []string, total int) Finding {
	f := Finding{Outputs: outputs, Outcome: Real, weight: 100 + math.Abs(p.level) + math.Abs(p.treble) + math.Abs(p.bass)}
	var what, like []string
	before := len(outputs) > 1 && len(outputs) == total
	if p.level != 0 {
		what = append(what, fmt.Sprintf("is %s at all frequencies alike", louder(p.level)))
		if p.treble != 0 || p.bass != 0 {
			what[0] = fmt.Sprintf("is %s at 1 kHz", louder(p.level))
		}
		like = append(like, levelLike(p.level))
	}
	if p.treble != 0 {
		what = append(what, fmt.Sprintf("%s %s at 10 kHz against 1 kHz%s", lostOrGained(p.treble), decibels(p.treble), from(p.shape, p.treble, true)))
		like = append(like, trebleLike(p, before, total))
	}
	if p.bass != 0 {
		what = append(what, fmt.Sprintf("%s %s at 50 Hz against 1 kHz%s", lostOrGained(p.bass), decibels(p.bass), from(p.shape, p.bass, false)))
		like = append(like, bassLike(p.bass))
	}
	if len(what) == 0 {
		at := c.at(c.WorstHz)
		what = append(what, fmt.Sprintf("differs by %s at %s", signedDB(c.Difference[at]), hertz(c.WorstHz)))
	}
	if !p.shape.fits {
		like = []string{"like no single part: the difference is not that of one resistor and one capacitor (comb, resonance, or more than one fault); see the plot"}
	}
	f.What = named(outputs) + " " + strings.Join(what, ", ")
	if c.State != "" {
		f.What += " (" + c.State + ")"
	}
	f.Like = strings.Join(like, "; ")
	f.Look = where(outputs, total)
	return f
}

func levelLike(db float64) string {
	if db < 0 {
		return "like added series resistance (a worn contact, a corroded joint), a heavier load, or a control that was moved"
	}
	return "like a load that is gone, a series resistance less, or a control that was moved"
}

func trebleLike(p parts, ahead bool, outputs int) string {
	if p.treble > 0 {
		return "like capacitance that is gone (a shorter lead, a device taken out) or a tone control that was moved"
	}
	place := "ahead of the buffer"
	if !ahead && outputs > 1 {
		place = "in its own lead"
	}
	return "like added capacitance (a longer or damaged cable) or a failing joint " + place
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
	case len(outputs) == 1:
		return fmt.Sprintf("not at the other output so: look behind the split, at output %s", outputs[0])
	}
	return "not at every output: look behind the split"
}

func plainFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.Outcome == Real {
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
