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
	// Passive are those of Devices that have no supply.
	Passive []string `json:"passive,omitempty"`
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

// powered are the devices that have a supply.
func (b Board) powered() []string {
	return slices.DeleteFunc(slices.Clone(b.Devices), func(d string) bool { return slices.Contains(b.Passive, d) })
}

// Searched are the devices that a search goes through which takes them out by
// SupplyOff or DeviceBypassed.
func (b Board) Searched(by string) []string {
	if by == SupplyOff {
		return b.powered()
	}
	return b.Devices
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
	// Through is what else a loop runs through, as far as is known.
	Through string `json:"through,omitempty"`
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
	// PickedUp: it comes in at the input by a field, electric or magnetic, and
	// which of the two nothing that was tried tells.
	PickedUp bool `json:"picked_up,omitempty"`
	// Summary says it in a sentence or two; when the evidence does not decide, it says so.
	Summary string `json:"summary"`
	// Next is the condition that is expected to tell most; nil when nothing
	// that is possible would tell more.
	Next *Proposal `json:"next,omitempty"`
}

// DecidedFrom is the score above which a cause is named without a doubt.
const DecidedFrom = 0.9

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
	b.addEvidence(&w, worlds, Changes(readings))
	if p := b.proposals(worlds); len(p) > 0 && p[0].Bits > worthBits {
		w.Next = &p[0]
	}
	w.decide(worlds)
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

func (b *bench) scores(worlds []world) []Weighed {
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
				if w.main() == k {
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
	outputs, devices, through, all := map[string]float64{}, map[string]float64{}, map[string]float64{}, 0.0
	for p, weight := range where {
		all += weight
		through[p.of] += weight
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
	for of, name := range map[string]string{atLaptop: "the laptop's charger", atSupply: "the earth of the board's supply", atBoth: "the laptop's charger and the earth of the board's supply"} {
		if w.Cause == GroundLoop && through[of] > locateFrom*all {
			w.Through = name
		}
	}
	most := 0.0
	for d, weight := range devices {
		if d != "" && weight > locateFrom*all && (weight > most || weight == most && d < w.Device) {
			w.Device, most = d, weight
		}
	}
}

// Likelihood puts a probability into a word.
func Likelihood(p float64) string {
	switch {
	case p > DecidedFrom:
		return "almost certain"
	case p > 0.5:
		return "likely"
	case p > 0.1:
		return "possible"
	}
	return "unlikely"
}

// secondBits are what a condition must promise for a hunt to go on for a second
// cause once the first is sure.
const secondBits = 0.1

// decide says whether the evidence does, and what it says.
func (w *Weighing) decide(worlds []world) {
	first, second := w.Causes[0], w.Causes[1]
	for _, c := range w.Causes[1:] {
		if c.Present > second.Present {
			second = c
		}
	}
	both := first.Present > DecidedFrom && second.Present > DecidedFrom
	open := second.Present > 0.2 && second.Present < DecidedFrom && w.Next != nil && w.Next.Bits > secondBits
	w.PickedUp = first.Score <= DecidedFrom && pickedUp(worlds) > DecidedFrom
	w.Decided = both || first.Score > DecidedFrom && !open || w.PickedUp && (w.Next == nil || w.Next.Condition.Change != BoardTurned)
	w.PickedUp = w.PickedUp && w.Decided && !both
	switch {
	case w.PickedUp:
		w.Summary = "picked up at the input, by an electric or a magnetic field"
	case w.Decided && second.Present > 0.5:
		w.Summary = named(first)
		for _, c := range w.besides() {
			w.Summary += ", and besides it " + named(c)
		}
		if second.Present <= DecidedFrom {
			w.Summary += "; likely besides it " + named(second)
		}
	case w.Decided:
		w.Summary = named(first)
	case first.Score > DecidedFrom:
		w.Summary = fmt.Sprintf("%s; besides it %s: %s", named(first), named(second), Likelihood(second.Present))
	default:
		w.Summary = fmt.Sprintf("undecided: %s (%s) or %s (%s)", named(first), Likelihood(first.Score), named(w.Causes[1]), Likelihood(w.Causes[1].Score))
	}
}

// besides are the causes beside the first that are there without a doubt.
func (w *Weighing) besides() []Weighed {
	var out []Weighed
	for _, c := range w.Causes[min(1, len(w.Causes)):] {
		if c.Present > DecidedFrom {
			out = append(out, c)
		}
	}
	return out
}

// pickedUp is how likely all of it comes in at the input by a field.
func pickedUp(worlds []world) float64 {
	sum := 0.0
	for _, w := range worlds {
		if c := w.causes[0]; len(w.causes) == 1 && (c == Electric || c == Magnetic) && w.places[0].at == atInput {
			sum += w.weight
		}
	}
	return sum
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
