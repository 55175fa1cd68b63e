package hunt

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
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
	w := Weighing{Output: b.output, Causes: b.scores()}
	b.addEvidence(&w, Changes(readings))
	open := b.proposals()
	if len(open) > 0 && open[0].Bits > worthBits {
		w.Next = &open[0]
	}
	// Turning the board tells the two fields apart.
	turn := slices.ContainsFunc(open, func(p Proposal) bool { return p.Condition.Change == BoardTurned && p.Bits > secondBits })
	w.decide(!turn && b.pickedUp() > DecidedFrom)
	return w
}

// Proposals ranks all conditions that are possible on the board and not yet
// read, the most telling first.
func Proposals(board Board, readings []Reading) []Proposal {
	if b := newBench(board, readings); b != nil {
		return b.proposals()
	}
	return nil
}

// scores puts the sounds together: the main cause is that of the loudest sound
// that is anybody's.
func (b *bench) scores() []Weighed {
	score, absent, left := map[string]float64{}, map[string]float64{}, 1.0
	where := map[string]map[place]float64{}
	for _, c := range Causes() {
		absent[c], where[c] = 1, map[place]float64{}
	}
	for _, of := range b.order {
		present, idle := map[string]float64{}, 0.0
		for _, h := range b.explain[of] {
			if h.cause() == nobody {
				idle += h.weight
				continue
			}
			score[h.cause()] += left * h.weight
			for k, c := range h.causes {
				if k == 0 || c != h.causes[0] {
					present[c] += h.weight
				}
				p := h.places[k]
				p.prior = 0
				where[c][p] += h.weight
			}
		}
		for c, v := range present {
			absent[c] *= 1 - min(v, 1)
		}
		if len(b.explain[of]) > 0 {
			left *= idle
		}
	}
	quiet := HissOnly
	if b.base().floorLines {
		quiet = Bench
	}
	score[quiet] += left
	absent[quiet] *= 1 - left
	var out []Weighed
	n := float64(len(Causes()))
	for _, c := range Causes() {
		w := Weighed{Cause: c, Score: (1-unforeseen)*score[c] + unforeseen/n, Present: (1-unforeseen)*(1-absent[c]) + unforeseen/n}
		w.locate(where[c], b.output)
		out = append(out, w)
	}
	slices.SortStableFunc(out, func(a, b Weighed) int {
		return cmp.Or(cmp.Compare(b.Score, a.Score), cmp.Compare(b.Present, a.Present))
	})
	return out
}

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
	w.Output = cmp.Or(likeliest(outputs, locateFrom*all), output)
	w.Device = likeliest(devices, locateFrom*all)
	if w.Cause == GroundLoop {
		w.Through = map[string]string{
			atLaptop: "the laptop's charger", atSupply: "the earth of the board's supply", atBoth: "the laptop's charger and the earth of the board's supply",
		}[likeliest(through, locateFrom*all)]
	}
}

// likeliest is the name with the most weight above least, "" for none.
func likeliest(names map[string]float64, least float64) string {
	best := ""
	for name, weight := range names {
		if name != "" && (weight > least || weight == least && best != "" && name < best) {
			best, least = name, weight
		}
	}
	return best
}

// Likelihood puts a probability into a word.
func Likelihood(p float64) string {
	switch {
	case p > DecidedFrom:
		return "almost certain"
	case p > likelyFrom:
		return "likely"
	case p > possibleFrom:
		return "possible"
	}
	return "unlikely"
}

// decide says whether the evidence does, and what it says; field is whether all
// comes in at the input by one of two fields that nothing more tells apart.
func (w *Weighing) decide(field bool) {
	first := w.Causes[0]
	besides := slices.Clone(w.Causes[1:])
	slices.SortStableFunc(besides, func(a, b Weighed) int { return cmp.Compare(b.Present, a.Present) })
	second := besides[0]
	both := first.Present > DecidedFrom && second.Present > DecidedFrom
	w.PickedUp = first.Score <= DecidedFrom && field
	open := w.Next != nil && w.Next.Bits > secondBits && slices.ContainsFunc(besides, func(c Weighed) bool {
		either := c.Cause == Electric || c.Cause == Magnetic
		return c.Present > openFrom && c.Present < DecidedFrom && !(w.PickedUp && either)
	})
	w.Decided = !open && (both || first.Score > DecidedFrom || w.PickedUp)
	w.PickedUp = w.PickedUp && w.Decided
	switch {
	case w.PickedUp:
		w.Summary = "picked up at the input, by an electric or a magnetic field"
	case w.Decided, first.Score > DecidedFrom:
		w.Summary = named(first)
	default:
		w.Summary = fmt.Sprintf("undecided: %s (%s) or %s (%s)", named(first), Likelihood(first.Score), named(w.Causes[1]), Likelihood(w.Causes[1].Score))
	}
	for _, c := range w.besides(likelyFrom) {
		w.Summary += fmt.Sprintf("; besides it %s (%s)", named(c), Likelihood(c.Present))
	}
	if first.Score > DecidedFrom && !w.Decided && second.Present <= likelyFrom {
		w.Summary += fmt.Sprintf("; besides it %s: %s", named(second), Likelihood(second.Present))
	}
}

// besides are the causes beside the main one that are there by more than a
// probability. Of two for the same sound the less likely is no second cause.
func (w *Weighing) besides(least float64) []Weighed {
	var out []Weighed
	for _, c := range w.Causes[min(1, len(w.Causes)):] {
		if c.Present > least && c.Present > c.Score+least/2 {
			out = append(out, c)
		}
	}
	return out
}

// pickedUp is how likely all of the louder sound comes in at the input by a field.
func (b *bench) pickedUp() float64 {
	sum := 0.0
	for _, h := range b.explain[b.order[0]] {
		if c := h.causes[0]; len(h.causes) == 1 && (c == Electric || c == Magnetic) && h.places[0].at == atInput {
			sum += h.weight
		}
	}
	return sum
}

// named is a cause with where it comes in.
func named(w Weighed) string {
	words := []string{w.Cause}
	if w.Device != "" {
		words = append(words, "of "+w.Device)
	}
	if w.Output != "" {
		words = append(words, "at output "+w.Output)
	}
	return strings.Join(words, " ")
}
