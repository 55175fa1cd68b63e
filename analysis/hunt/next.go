package hunt

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// worthBits is the least that a condition must promise to be proposed.
const worthBits = 0.02

// Proposal is a condition to try.
type Proposal struct {
	Condition Condition `json:"condition"`
	// Bits is by how much it is expected to reduce the entropy over the causes,
	// and a share of that over where they come in.
	Bits float64 `json:"bits"`
	// Reason says in one line what it would tell apart.
	Reason string `json:"reason"`
}

// conditions lists what can be tried on a board.
func (b Board) conditions() []Condition {
	var out []Condition
	for _, o := range b.Outputs {
		out = append(out, Condition{OutputUnplugged, o})
		if b.Isolator {
			out = append(out, Condition{OutputIsolated, o})
		}
	}
	out = append(out, Condition{SupplyOff, ""}, Condition{OtherOutlet, ""}, Condition{InputShorted, ""}, Condition{BoardTurned, ""})
	if b.Battery {
		out = append(out, Condition{OnBattery, ""})
	}
	if b.LaptopBattery {
		out = append(out, Condition{LaptopOnBattery, ""})
	}
	if !b.NoLights {
		out = append(out, Condition{LightsOff, ""})
	}
	for _, d := range b.powered() {
		out = append(out, Condition{SupplyOff, d})
		if b.Battery {
			out = append(out, Condition{OnBattery, d})
		}
	}
	for _, d := range b.Devices {
		out = append(out, Condition{DeviceBypassed, d})
	}
	return out
}

// outcomes are what may be seen: each of comb and tones vanishes, stays or
// does something else.
type outcomes [9]float64

// foretold is what a world lets one expect of a condition.
func (w *world) foretold(c Condition, weighed string) outcomes {
	var out outcomes
	comb, tone := w.together(w.combPower, c, weighed), w.together(w.tonePower, c, weighed)
	for i, p := range comb.chances() {
		for j, q := range tone.chances() {
			out[3*i+j] = p * q
		}
	}
	return out
}

// together is the effect on what the causes have by their powers. The weaker of
// two matters where the stronger one goes: only if it goes too, all is gone.
func (w *world) together(power [2]float64, c Condition, weighed string) effect {
	first, second := 0, 1
	if power[1] > power[0] {
		first, second = 1, 0
	}
	if power[first] == 0 {
		return effect{0, 1, 0}
	}
	e := effectOf(w.causes[first], w.places[first], c, weighed)
	if power[second] < power[first]*powerOf(-weakDB/2) {
		return e
	}
	gone := e.vanishes * effectOf(w.causes[second], w.places[second], c, weighed).vanishes
	return effect{gone, e.same, 1 - gone - e.same}
}

// proposals ranks what was not tried yet by the mutual information between what
// would be seen and the cause.
func (b *bench) proposals(worlds []world) []Proposal {
	var out []Proposal
	// What is next to impossible takes long, and tells nothing.
	worlds = worlds[:slices.IndexFunc(append(worlds[:len(worlds):len(worlds)], world{}), func(w world) bool { return w.weight < 1e-6 })]
	for _, c := range b.board.conditions() {
		if slices.ContainsFunc(b.spectra, func(s spectrum) bool { return s.condition == c }) {
			continue
		}
		out = append(out, Proposal{c, worth(worlds, c, b.output), telling(worlds, c, b.output)})
	}
	slices.SortStableFunc(out, func(a, b Proposal) int { return cmp.Compare(b.Bits, a.Bits) })
	return out
}

// placeShare is what it is worth to know where a cause comes in, beside
// knowing the cause.
const placeShare = 0.25

// worth is the mutual information between what would be seen and the causes,
// and a share of that with where it comes in.
func worth(worlds []world, c Condition, weighed string) float64 {
	var all outcomes
	within := 0.0
	byCause := map[string]*outcomes{}
	weights := map[string]float64{}
	for i := range worlds {
		w := &worlds[i]
		seen, cause := w.foretold(c, weighed), w.key
		if byCause[cause] == nil {
			byCause[cause] = &outcomes{}
		}
		for k, p := range seen {
			all[k] += w.weight * p
			byCause[cause][k] += w.weight * p
		}
		weights[cause] += w.weight
		within += w.weight * seen.entropy()
	}
	ofCause := all.entropy()
	for _, cause := range slices.Sorted(maps.Keys(byCause)) {
		o := byCause[cause]
		for k := range o {
			o[k] /= weights[cause]
		}
		ofCause -= weights[cause] * o.entropy()
	}
	return math.Max(0, ofCause+placeShare*(all.entropy()-within-ofCause))
}

func (o outcomes) entropy() float64 {
	sum := 0.0
	for _, p := range o {
		if p > 0 {
			sum -= p * math.Log2(p)
		}
	}
	return sum
}

// leastChance of a cause is worth a word.
const leastChance = 0.01

// telling says which likely cause would go under a condition, and which would
// stay.
func telling(worlds []world, c Condition, weighed string) string {
	type chance struct {
		cause        string
		weight, gone float64
	}
	var chances []chance
	for _, w := range worlds {
		k := slices.IndexFunc(chances, func(x chance) bool { return x.cause == w.causes[w.main()] })
		if k < 0 {
			k = len(chances)
			chances = append(chances, chance{cause: w.causes[w.main()]})
		}
		chances[k].weight += w.weight
		e := effectOf(w.causes[w.main()], w.places[w.main()], c, weighed)
		chances[k].gone += w.weight * (1 - e.same)
	}
	goes, stays, may := "", "", ""
	goesBy, staysBy, mayBy := 0.0, 0.0, 0.0
	for _, x := range chances {
		switch changes := x.gone / x.weight; {
		case changes > 0.5 && x.weight > goesBy:
			goes, goesBy = x.cause, x.weight
		case changes < 0.5 && x.weight > staysBy:
			stays, staysBy = x.cause, x.weight
		}
		if x.weight > leastChance && x.gone/x.weight > mayBy {
			may, mayBy = x.cause, x.gone/x.weight
		}
	}
	switch {
	case goes == "" && may == "":
		return "it may show what nothing else does"
	case goes == "":
		return fmt.Sprintf("%s may change, most else should not", may)
	case stays == "":
		return fmt.Sprintf("it may show where the %s comes in", goes)
	}
	return fmt.Sprintf("%s should change, %s should not", goes, stays)
}
