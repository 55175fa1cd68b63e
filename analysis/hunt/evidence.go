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
	all := b.observations(changes)
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
	if !ok || o.text == "" {
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

// observations lists what was seen, the pattern as found and each condition,
// with how likely it is for each cause by itself, wherever it comes in, in the
// sound of which it is the main one.
func (b *bench) observations(changes []Change) []observation {
	var out []observation
	for of := range b.explain {
		words := []string{b.patternWords(), b.toneWords()}[of]
		for i := range b.spectra {
			if i > 0 {
				words = b.didWords(changes, b.loudestGroup(sound(of)), b.spectra[i].condition)
			}
			with, without := map[string][]float64{}, map[string][]float64{}
			for _, h := range b.explain[of] {
				with[h.cause()] = append(with[h.cause()], h.log)
				without[h.cause()] = append(without[h.cause()], h.log-h.logs[i])
			}
			o := observation{words, map[string]float64{}}
			for c := range with {
				o.log[c] = logSum(with[c]) - logSum(without[c])
			}
			out = append(out, o)
		}
	}
	return out
}

// loudestGroup is the group of a sound that is loudest as found.
func (b *bench) loudestGroup(of sound) string {
	group, top := OtherTones, math.Inf(-1)
	for c, l := range b.base().comb {
		if of == comb && l.seen() && l.db > top {
			group, top = []string{Fundamental, Odd, Odd, Even, Buzz, Buzz}[c], l.db
		}
	}
	return group
}

// didWords says what a condition did to a group: "50 Hz fell by 31.2 ± 0.3
// dB when output B was unplugged".
func (b *bench) didWords(changes []Change, group string, c Condition) string {
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

// patternWords says what the comb looks like as found.
func (b *bench) patternWords() string {
	base, top, at, last := b.base(), math.Inf(-1), 0, 0
	for _, n := range sortedKeys(base.lines) {
		if l := base.lines[n]; l.seen() {
			last = n
			if l.db > top {
				top, at = l.db, n
			}
		}
	}
	if last == 0 {
		return ""
	}
	var words []string
	for _, n := range []int{1, 2, 3, 4, 5, 7} {
		level := "unknown"
		switch l := base.lines[n]; {
		case n == at:
			continue
		case l.seen():
			level = signed(l.db - top)
		case l.known:
			level = "under " + signed(l.db-top)
		}
		words = append(words, fmt.Sprintf("the %s %s", ordinal(n), level))
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
