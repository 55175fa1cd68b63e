package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Board is what can be changed at the bench.
type Board struct {
	Outputs []string `json:"outputs"`
	Devices []string `json:"devices"`
	// Battery: the board, or a device of it, can run on a battery.
	Battery bool `json:"battery"`
	// LaptopBattery: the bench's computer has a battery of its own.
	LaptopBattery bool `json:"laptop_battery"`
	// Isolator: a signal transformer is at hand.
	Isolator bool `json:"isolator"`
	// Profile: the bench's own floor is known.
	Profile bool `json:"profile"`
	// NoLights: there is no light or dimmer to turn off.
	NoLights bool `json:"no_lights,omitempty"`
}

// Weighed is how one cause stands.
type Weighed struct {
	Cause string `json:"cause"`
	// Score is the probability that this is the main cause, under the models;
	// the scores of all causes sum to 1. Present is the probability that it
	// has a part at all.
	Score   float64 `json:"score"`
	Present float64 `json:"present"`
	// For and Against are the strongest evidence either way in one line each,
	// with numbers; "" where there is none.
	For     string `json:"for,omitempty"`
	Against string `json:"against,omitempty"`
	// Output and Device are where it comes in, as far as is known.
	Output string `json:"output,omitempty"`
	Device string `json:"device,omitempty"`
}

// Weighing is what the hunt says so far.
type Weighing struct {
	// Output is where it was weighed: where there is most hum as found.
	Output string `json:"output"`
	// Causes are all causes, by Score, the most likely first.
	Causes []Weighed `json:"causes"`
	// Decided: the first cause's Score is above DecidedFrom, or it and the
	// second are both Present by more than that.
	Decided bool `json:"decided"`
	// Summary says it in a sentence or two; when the evidence does not decide, it says so.
	Summary string `json:"summary"`
	// Next is the condition that is expected to tell most; nil when nothing
	// that is possible would tell more.
	Next *Proposal `json:"next,omitempty"`
}

// DecidedFrom is the score above which a cause is named without a doubt.
const DecidedFrom = 0.9

// unforeseen is kept aside for what no model foretells, shared by all causes.
const unforeseen = 0.01

// Weigh weighs the causes of what was read so far, at the output with most hum
// as found. It needs a reading as found; without one every cause stands alike
// and the Summary says so.
func Weigh(board Board, readings []Reading) Weighing {
	b := newBench(board, readings)
	if b == nil {
		w := Weighing{Summary: "undecided: nothing was read as found"}
		for _, c := range Causes() {
			w.Causes = append(w.Causes, Weighed{Cause: c, Score: 1 / float64(len(Causes())), Present: 1 / float64(len(Causes()))})
		}
		return w
	}
	worlds := b.worlds()
	w := Weighing{Output: b.output, Causes: b.scores(worlds)}
	b.addEvidence(&w, Changes(readings))
	w.decide()
	if p := b.proposals(worlds); len(p) > 0 && p[0].Bits > worthBits {
		w.Next = &p[0]
	}
	return w
}

// Proposals ranks all conditions that are possible on the board and not yet
// read, the most telling first.
func Proposals(board Board, readings []Reading) []Proposal {
	b := newBench(board, readings)
	if b == nil {
		return nil
	}
	return b.proposals(b.worlds())
}

// newBench chooses the output to weigh at; nil where nothing was read as found.
func newBench(board Board, readings []Reading) *bench {
	var best *bench
	others, read := 0.0, 0
	for _, output := range outputsOf(readings) {
		spectra := spectraOf(readings, output)
		if spectra == nil {
			continue
		}
		if best == nil || spectra[0].strength() > best.base().strength() {
			if best != nil {
				others = math.Max(others, best.base().comb())
			}
			best = &bench{board: board, output: output, spectra: spectra, apartDB: -1}
		} else {
			others = math.Max(others, spectra[0].comb())
		}
		read++
	}
	if read > 1 && best.base().comb() > 0 {
		best.apartDB = math.Max(0, 20*math.Log10(best.base().comb()/math.Max(others, 1e-12)))
	}
	if best != nil {
		best.fitCombs()
	}
	return best
}

// whole is one way in which everything may be: the comb and the tones.
type whole struct {
	causes []string
	places []place
	main   int // of causes
	weight float64
	// comb is how many of the causes, the first, are of the comb.
	comb int
	// mainComb is which of these is the stronger.
	mainComb int
}

// worlds puts the ways of comb and tones together. At most three causes are
// thought of at once.
func (b *bench) worlds() []whole {
	combs, tones := normalised(b.combWorlds()), normalised(b.toneWorlds())
	var out []whole
	sum := 0.0
	for _, c := range combs {
		for _, t := range tones {
			if len(t.causes) > 0 && slices.Contains(c.causes, HissOnly) {
				c.causes, c.places, c.volts = nil, nil, nil // tones are more than hiss
			}
			w := whole{weight: math.Exp(c.log + t.log), comb: len(c.causes)}
			if w.weight < 1e-6 {
				continue
			}
			w.causes = append(append(w.causes, c.causes...), t.causes...)
			w.places = append(append(w.places, c.places...), t.places...)
			if len(w.causes) > 3 {
				continue
			}
			if len(w.causes) == 0 {
				w.causes, w.places = []string{b.quiet()}, []place{{}}
			}
			volts := append(append([]float64(nil), c.volts...), t.volts...)
			for k, v := range volts {
				if v > volts[w.main] {
					w.main = k
				}
				if k < len(c.volts) && v > volts[w.mainComb] {
					w.mainComb = k
				}
			}
			sum += w.weight
			out = append(out, w)
		}
	}
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

// quiet is the cause where nothing stands out of noise and bench.
func (b *bench) quiet() string {
	if b.base().floorLines {
		return Bench
	}
	return HissOnly
}

func (b *bench) scores(worlds []whole) []Weighed {
	out := make([]Weighed, len(Causes()))
	known := 0.0
	for i, c := range Causes() {
		out[i].Cause = c
		where := map[place]float64{}
		for _, w := range worlds {
			for k, o := range w.causes {
				if o != c {
					continue
				}
				out[i].Present += w.weight
				p := w.places[k]
				p.prior = 0
				where[p] += w.weight
				if w.main == k {
					out[i].Score += w.weight
					known += w.weight
				}
			}
		}
		out[i].locate(where, b.output)
	}
	share := (unforeseen + (1-unforeseen)*(1-known)) / float64(len(out))
	for i := range out {
		out[i].Score = (1-unforeseen)*out[i].Score + share
		out[i].Present = math.Min((1-unforeseen)*out[i].Present+share, 1)
	}
	slices.SortStableFunc(out, func(a, b Weighed) int {
		if a.Score != b.Score {
			return cmp.Compare(b.Score, a.Score)
		}
		return cmp.Compare(b.Present, a.Present)
	})
	return out
}

// locateFrom is the share of one place among all from which it is named.
const locateFrom = 0.6

// locate names where the cause comes in, if that is known.
func (w *Weighed) locate(where map[place]float64, output string) {
	if w.Cause == HissOnly || w.Cause == Bench {
		return
	}
	w.Output = output
	outputs, devices, all := map[string]float64{}, map[string]float64{}, 0.0
	for p, weight := range where {
		all += weight
		outputs[p.output] += weight
		devices[p.device] += weight
		if p.second != "" {
			devices[p.second] += weight
		}
	}
	for o, weight := range outputs {
		if o != "" && weight > locateFrom*all {
			w.Output = o
		}
	}
	most := 0.0
	for d, weight := range devices {
		if d != "" && weight > locateFrom*all && (weight > most || weight == most && d < w.Device) {
			w.Device, most = d, weight
		}
	}
}

// decide says whether the evidence does, and what it says.
func (w *Weighing) decide() {
	first, second := w.Causes[0], w.Causes[1]
	both := first.Present > DecidedFrom && second.Present > DecidedFrom
	w.Decided = first.Score > DecidedFrom || both
	switch {
	case w.Decided && both:
		w.Summary = fmt.Sprintf("%s (%.2f), and besides it %s (%.2f)", named(first), first.Present, named(second), second.Present)
	case w.Decided && second.Present > 0.5:
		w.Summary = fmt.Sprintf("%s (%.2f); likely besides it %s (%.2f)", named(first), first.Score, named(second), second.Present)
	case w.Decided:
		w.Summary = fmt.Sprintf("%s (%.2f)", named(first), first.Score)
	default:
		w.Summary = fmt.Sprintf("undecided: %s (%.2f) or %s (%.2f)", named(first), first.Score, named(second), second.Score)
	}
}

// named is a cause with where it comes in.
func named(w Weighed) string {
	text := w.Cause
	if w.Device != "" {
		text += " of " + w.Device
	}
	if w.Output != "" {
		text += " at output " + w.Output
	}
	return text
}
