package hunt

import (
	"fmt"
	"math"
	"strings"
)

// evidence is one thing that was seen and by how much it speaks for a cause,
// as the logarithm of a likelihood ratio against the other causes.
type evidence struct {
	log  float64
	text string
}

// leastEvidence is the ratio, as a logarithm, from which on it is worth a line.
var leastEvidence = math.Log(2)

// addEvidence puts the strongest line for and against beside each cause.
func (b *bench) addEvidence(w *Weighing, changes []Change) {
	all := b.likelihoods(changes)
	for i := range w.Causes {
		c := &w.Causes[i]
		best, worst := evidence{log: leastEvidence}, evidence{log: -leastEvidence}
		for _, l := range all {
			e := l.of(c.Cause, w.Causes)
			if e.log > best.log {
				best = e
			}
			if e.log < worst.log {
				worst = e
			}
		}
		c.For, c.Against = best.text, worst.text
	}
}

// observation is one thing seen: how likely each cause makes it, as logarithms.
type observation struct {
	text string
	log  map[string]float64
}

// of compares a cause with all others, by their scores.
func (o observation) of(cause string, all []Weighed) evidence {
	own, ok := o.log[cause]
	if !ok {
		return evidence{}
	}
	var logs []float64
	sum := 0.0
	for _, w := range all {
		if l, ok := o.log[w.Cause]; ok && w.Cause != cause {
			share := w.Score + 0.02
			logs = append(logs, l+math.Log(share))
			sum += share
		}
	}
	if len(logs) == 0 {
		return evidence{}
	}
	return evidence{own - logSum(logs) + math.Log(sum), o.text}
}

// likelihoods lists what was seen: the pattern as found, and each condition.
func (b *bench) likelihoods(changes []Change) []observation {
	base := b.base()
	comb, tones := base.visible() > 0, len(base.tones) > 0
	fits := map[string]combFit{}
	pattern := observation{text: b.patternWords(), log: map[string]float64{}}
	if comb {
		for _, f := range b.fits {
			if len(f.causes) == 1 {
				fits[f.causes[0]] = f
			}
		}
		fits[HissOnly], fits[Bench] = b.odd, b.odd
		for c, f := range fits {
			pattern.log[c] = f.logEvidence
		}
	}
	toned := map[string]toneFit{}
	lines := observation{text: b.toneWords(), log: map[string]float64{}}
	if tones {
		for _, c := range toneCauses {
			toned[c] = fitTones(base, []string{c})
			lines.log[c] = toned[c].logEvidence
		}
		lines.log[HissOnly] = fitTones(base, nil).logEvidence
	}
	out := []observation{pattern, lines}
	for i := range b.spectra[1:] {
		s := &b.spectra[i+1]
		o := observation{log: map[string]float64{}}
		for c, f := range fits {
			o.log[c] = b.underCondition(c, b.under(f, s), s.condition)
		}
		group := b.loudestGroup(changes)
		for c, f := range toned {
			o.log[c] = b.underCondition(c, likelihoodOf(toneMoves(base, s, f.share), false), s.condition)
			if !comb {
				group = OtherTones
			}
		}
		o.text = b.changeWords(changes, group, s.condition)
		if comb && tones {
			// What the comb did says nothing of tones, and the other way round.
			t := observation{text: b.changeWords(changes, OtherTones, s.condition), log: map[string]float64{}}
			for c := range toned {
				t.log[c] = o.log[c]
				delete(o.log, c)
			}
			out = append(out, t)
		}
		out = append(out, o)
	}
	return out
}

// underCondition is how likely a cause makes what a condition did, wherever it
// comes in.
func (b *bench) underCondition(cause string, k kinds, c Condition) float64 {
	var logs []float64
	for _, p := range places(cause, b.board, b.output) {
		logs = append(logs, math.Log(p.prior)+k.under(effectOf(cause, p, c, b.output), effect{0, 1, 0}, k.most()))
	}
	return logSum(logs)
}

// loudestGroup is the group of the comb that is loudest as found.
func (b *bench) loudestGroup(changes []Change) string {
	top, at := b.base().loudestDB(), 0
	for i, l := range b.base().lines {
		if !l.bound && !l.absent && l.db == top {
			at = numbers[i]
		}
	}
	switch {
	case at == 1:
		return Fundamental
	case at > 20:
		return Buzz
	case at%2 == 0:
		return Even
	}
	return Odd
}

// changeWords says what a condition did to a group: "50 Hz fell by 31.2 ± 0.3
// dB when output B was unplugged".
func (b *bench) changeWords(changes []Change, group string, c Condition) string {
	for _, x := range changes {
		if x.Output == b.output && x.Group == group && x.Condition == c {
			name := "the " + group
			if group == Fundamental {
				name = "the mains fundamental"
			}
			did := x.String()
			if group != Fundamental {
				did = strings.Replace(did, "was ", "were ", 1)
			}
			return fmt.Sprintf("%s %s %s", name, did, when(c))
		}
	}
	return ""
}

// when says a condition as the time at which something happened.
func when(c Condition) string {
	switch c.Change {
	case OutputUnplugged:
		return "when output " + c.Subject + " was unplugged"
	case OutputIsolated:
		return "when output " + c.Subject + " was isolated"
	case OtherOutlet:
		return "with everything on one outlet"
	}
	return "with " + c.String()
}

// patternWords says what the comb looks like as found.
func (b *bench) patternWords() string {
	base := b.base()
	if base.visible() == 0 {
		return ""
	}
	top, at := base.loudestDB(), 0
	level := func(n int) string {
		for i, l := range base.lines {
			switch {
			case numbers[i] != n || l.absent:
			case l.bound:
				return "under " + signed(l.db-top)
			default:
				return signed(l.db - top)
			}
		}
		return "unknown"
	}
	last := 0
	for i, l := range base.lines {
		if !l.bound && !l.absent {
			if l.db == top {
				at = numbers[i]
			}
			last = numbers[i]
		}
	}
	var words []string
	for _, n := range []int{1, 2, 3, 4, 5, 7} {
		if n != at {
			words = append(words, fmt.Sprintf("the %s %s", ordinal(n), level(n)))
		}
	}
	return fmt.Sprintf("the pattern as found: against the %s %s dB; lines up to the %s", ordinal(at), strings.Join(words, ", "), ordinal(last))
}

// signed is a whole number of decibels with a proper minus.
func signed(db float64) string {
	return strings.Replace(fmt.Sprintf("%+.0f", db), "-", "−", 1)
}

func ordinal(n int) string {
	suffix := "th"
	switch {
	case n == 1:
		return "fundamental"
	case n%100 >= 11 && n%100 <= 13:
	case n%10 == 1:
		suffix = "st"
	case n%10 == 2:
		suffix = "nd"
	case n%10 == 3:
		suffix = "rd"
	}
	return fmt.Sprintf("%d%s", n, suffix)
}

// toneWords says where the tones are.
func (b *bench) toneWords() string {
	tones := b.base().tones
	var words []string
	for _, t := range tones[:min(3, len(tones))] {
		words = append(words, fmt.Sprintf("%.1f Hz", t.FrequencyHz.Value))
	}
	switch len(tones) {
	case 0:
		return ""
	case 1:
		return "one line off the mains comb, at " + words[0]
	}
	return fmt.Sprintf("%d lines off the mains comb, the strongest at %s", len(tones), strings.Join(words, ", "))
}
