package change

import (
	"fmt"
	"math"
	"strings"

	"boardproof/analysis"
)

// humFindings words each output's hum from its harmonics.
func humFindings(c Comparison) []Finding {
	var out []Finding
	for _, total := range c.Rows {
		if total.After.Quantity != analysis.Hum || total.Outcome != Real {
			continue
		}
		o := total.After.Output
		f := Finding{Outputs: []string{o}, Outcome: Real, weight: 50 + math.Abs(total.Difference)}
		if total.Difference < 0 {
			f.What = fmt.Sprintf("output %s hums less, by %s", o, bounded(total))
			out = append(out, f)
			continue
		}
		f.What = fmt.Sprintf("output %s hums more, by %s", o, bounded(total))
		if lines := risen(c, total); len(lines) > 0 {
			f.What += ", most at " + strings.Join(lineNames(lines), ", ")
			f.Like = humLike(lines)
		}
		f.Look = "'boardproof hum' hunts it"
		out = append(out, f)
	}
	return out
}

// risen are the harmonics of an output that really rose, in that state, the
// loudest now first.
func risen(c Comparison, total Row) []Row {
	var rows []Row
	for _, r := range c.Rows {
		if r.After.Quantity == analysis.HumHarmonic && r.After.Output == total.After.Output && r.After.State == total.After.State &&
			r.After.Step == total.After.Step && r.Outcome == Real && r.Difference > 0 {
			at := len(rows)
			for at > 0 && rows[at-1].After.Value < r.After.Value {
				at--
			}
			rows = append(rows[:at], append([]Row{r}, rows[at:]...)...)
		}
	}
	return rows
}

// shownLines is how many harmonics a sentence holds.
const shownLines = 3

func lineNames(rows []Row) []string {
	var names []string
	for i, r := range rows {
		if i == shownLines {
			break
		}
		names = append(names, fmt.Sprintf("%s (%s)", hertz(r.After.FrequencyHz), bounded(r)))
	}
	return names
}

// humLike goes by the power in even and odd harmonics: a full-wave rectifier
// leaves even ones, what carries the mains itself odd ones. Common practice.
func humLike(rows []Row) string {
	even, odd := 0.0, 0.0
	for _, r := range rows {
		p := math.Pow(10, r.After.Value/10)
		if r.After.Harmonic%2 == 0 {
			even += p
		} else {
			odd += p
		}
	}
	switch {
	case even > 4*odd:
		return "even harmonics: like supply ripple (a tired reservoir capacitor, an outlet shared or overloaded)"
	case odd > 4*even:
		return "odd harmonics: like a ground loop, a broken shield, or a transformer's field nearby"
	}
	return "even and odd harmonics: like two causes at once, or a loop that also carries a supply's current"
}

// noiseFindings are of hiss alone: noise as a whole follows hum.
func noiseFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.After.Quantity != analysis.Hiss || r.After.Weighting != analysis.WeightA || r.Outcome != Real {
			continue
		}
		// Less of it goes with less level or treble, which is worded elsewhere.
		if r.Difference < 0 {
			continue
		}
		out = append(out, Finding{Outputs: []string{r.After.Output}, Outcome: Real, weight: 40 + r.Difference,
			What: fmt.Sprintf("output %s hisses more, by %s (A-weighted)", r.After.Output, bounded(r)),
			Like: "like added resistance ahead of a gain stage (a poor joint or contact), or an active part that is failing"})
	}
	return out
}

// underHissDB below the hiss as a whole a tone is of no account: common
// practice, no source.
const underHissDB = 30.0

func audible(c Comparison, u Unpaired) bool {
	for _, r := range c.Rows {
		if r.After.Quantity == analysis.Hiss && r.After.Weighting == analysis.WeightA && r.After.Output == u.Output && u.Value < r.After.Value-underHissDB {
			return false
		}
	}
	return true
}

// louderTone is by how many dB a tone must have risen to be worth a word:
// common practice, no source.
const louderTone = 6.0

// toneFindings are of tones that rose, or that only one of the runs has.
func toneFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.After.Quantity == analysis.OtherTone && r.Difference >= louderTone && !r.After.UpperBound && audible(c, Unpaired{Reading: r.After.Reading}) {
			out = append(out, Finding{Outputs: []string{r.After.Output}, Outcome: Maybe, weight: 30 + r.Difference,
				What: fmt.Sprintf("output %s: the tone at %s is %s louder", r.After.Output, hertz(r.After.FrequencyHz), decibels(r.Difference)),
				Like: "like the whine of a converter or a clock that gets in more than it did"})
		}
	}
	for _, u := range c.Unpaired {
		if u.Quantity != analysis.OtherTone || u.UpperBound || !audible(c, u) {
			continue
		}
		f := Finding{Outputs: []string{u.Output}, Outcome: Maybe, weight: 30,
			What: fmt.Sprintf("output %s: a tone at %s of %s dBu that was not found then", u.Output, hertz(u.FrequencyHz), figure(u.Value)),
			Like: "like the whine of a converter or a clock, from a supply or a digital device"}
		if !u.Now {
			f.What = fmt.Sprintf("output %s: a tone at %s of %s dBu then is not found now", u.Output, hertz(u.FrequencyHz), figure(u.Value))
			f.Like = ""
		}
		out = append(out, f)
	}
	return out
}

func distortionFindings(c Comparison) []Finding {
	var out []Finding
	for _, r := range c.Rows {
		if r.After.Quantity != analysis.THD || r.Outcome != Real {
			continue
		}
		f := Finding{Outputs: []string{r.After.Output}, Outcome: Real, weight: 20,
			What: fmt.Sprintf("output %s distorts %s, by %s %s", r.After.Output, moreOrLess(r.Difference), figure(math.Abs(r.Difference)), r.Unit)}
		if r.Difference > 0 {
			f.Like = "like a supply voltage that has fallen, or an active part that is failing"
		}
		out = append(out, f)
	}
	return out
}
