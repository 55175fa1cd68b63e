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
	for _, d := range b.Devices {
		out = append(out, Condition{SupplyOff, d}, Condition{DeviceBypassed, d})
		if b.Battery {
			out = append(out, Condition{OnBattery, d})
		}
	}
	return out
}

// outcomes are what may be seen: each of comb and tones vanishes, stays or
// does something else.
type outcomes [9]float64

// foretold is what a world lets one expect of a condition. The weaker of two
// causes matters where the stronger one goes: only if it goes too, all is gone.
func (w *whole) foretold(c Condition, weighed string) outcomes {
	comb, tone := effect{0, 1, 0}, effect{0, 1, 0}
	if w.comb > 0 {
		comb = effectOf(w.causes[w.mainComb], w.places[w.mainComb], c, weighed)
		if w.comb == 2 {
			comb = together(comb, effectOf(w.causes[1-w.mainComb], w.places[1-w.mainComb], c, weighed))
		}
	}
	for k := w.comb; k < len(w.causes); k++ {
		e := effectOf(w.causes[k], w.places[k], c, weighed)
		if k == w.comb {
			tone = e
		} else {
			tone = together(tone, e)
		}
	}
	var out outcomes
	for i, p := range []float64{comb.vanishes, comb.same, comb.other} {
		for j, q := range []float64{tone.vanishes, tone.same, tone.other} {
			out[3*i+j] = p * q
		}
	}
	return out
}

// together is the effect on two at once, the first being the stronger.
func together(first, second effect) effect {
	gone := first.vanishes * second.vanishes
	return effect{gone, first.same, 1 - gone - first.same}
}

// proposals ranks what was not tried yet by the mutual information between what
// would be seen and the cause.
func (b *bench) proposals(worlds []whole) []Proposal {
	var out []Proposal
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

// worth is the mutual information between what would be seen and the main
// cause, and a share of that with where it comes in.
func worth(worlds []whole, c Condition, weighed string) float64 {
	var all outcomes
	within := 0.0
	byCause := map[string]*outcomes{}
	weights := map[string]float64{}
	for i := range worlds {
		w := &worlds[i]
		seen, cause := w.foretold(c, weighed), w.causes[w.main]
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
func telling(worlds []whole, c Condition, weighed string) string {
	type chance struct {
		cause        string
		weight, gone float64
	}
	var chances []chance
	for _, w := range worlds {
		if w.causes[w.main] == unexplained {
			continue
		}
		k := slices.IndexFunc(chances, func(x chance) bool { return x.cause == w.causes[w.main] })
		if k < 0 {
			k = len(chances)
			chances = append(chances, chance{cause: w.causes[w.main]})
		}
		chances[k].weight += w.weight
		e := effectOf(w.causes[w.main], w.places[w.main], c, weighed)
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
