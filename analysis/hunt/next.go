package hunt

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// Proposal is a condition to try.
type Proposal struct {
	Condition Condition `json:"condition"`
	// Bits is by how much it is expected to reduce the entropy over the causes,
	// and a share of that over where they come in, of the part of the sound of
	// which it tells most.
	Bits float64 `json:"bits"`
	// Reason says in one line what it would tell apart.
	Reason string `json:"reason"`
}

// conditions lists what can be tried on a board.
func (b Board) conditions() []Condition {
	var out []Condition
	add := func(possible bool, change string, subjects ...string) {
		for _, s := range subjects {
			if possible {
				out = append(out, Condition{change, s})
			}
		}
	}
	for _, o := range b.Outputs {
		add(true, OutputUnplugged, o)
		add(b.Isolator, OutputIsolated, o)
	}
	for _, change := range []string{SupplyOff, OtherOutlet, InputShorted, BoardTurned} {
		add(true, change, "")
	}
	add(b.Battery, OnBattery, "")
	add(b.LaptopBattery, LaptopOnBattery, "")
	add(!b.NoLights, LightsOff, "")
	add(true, SupplyOff, b.powered()...)
	add(b.Battery, OnBattery, b.powered()...)
	add(true, DeviceBypassed, b.Devices...)
	return out
}

// foretold is what a hypothesis lets one expect of part n. The weaker of two
// causes matters where the stronger one goes: only if it goes too, all is gone.
func (h *hypothesis) foretold(n int, c Condition, weighed string) effect {
	strong, share := 0, h.first[n]
	if share < 0.5 {
		strong, share = 1, 1-share
	}
	e := effectOf(h.causes[strong], h.places[strong], c, weighed)
	if len(h.causes) == 1 || (1-share)/share < powerOf(-weakDB/2) {
		return e
	}
	both := e[vanishes] * effectOf(h.causes[1-strong], h.places[1-strong], c, weighed)[vanishes]
	return effect{both, e[jumps] + e[vanishes] - both, e[moves], e[stays]}
}

// proposals ranks what was not tried yet by the mutual information between what
// would be seen and the cause.
func (b *bench) proposals() []Proposal {
	var out []Proposal
	for _, c := range b.board.conditions() {
		if slices.ContainsFunc(b.spectra, func(s spectrum) bool { return s.condition == c }) {
			continue
		}
		p := Proposal{Condition: c, Reason: "it may show what nothing else does"}
		for _, of := range b.order {
			// What is next to impossible takes long, and tells nothing.
			likely := slices.Clone(b.explain[of])
			likely = slices.DeleteFunc(likely, func(h hypothesis) bool { return h.weight < 1e-6 })
			for n, part := range b.parts[of] {
				if bits := part.heard * worth(likely, n, c, b.output); bits > p.Bits {
					p.Bits, p.Reason = bits, telling(likely, c, b.output)
				}
			}
		}
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Proposal) int { return cmp.Compare(b.Bits, a.Bits) })
	return out
}

// worth is the mutual information between what would be seen of part n and the
// causes, and a share of that with where they come in.
func worth(all []hypothesis, n int, c Condition, weighed string) float64 {
	var sum effect
	within, weights, byCause := 0.0, map[string]float64{}, map[string]effect{}
	for i := range all {
		h := &all[i]
		seen, key := h.foretold(n, c, weighed), h.key()
		of := byCause[key]
		for k, p := range seen {
			sum[k] += h.weight * p
			of[k] += h.weight * p
		}
		byCause[key] = of
		weights[key] += h.weight
		within += h.weight * seen.entropy()
	}
	ofCause := sum.entropy()
	for _, key := range slices.Sorted(maps.Keys(byCause)) {
		of := byCause[key]
		for k := range of {
			of[k] /= weights[key]
		}
		ofCause -= weights[key] * of.entropy()
	}
	return math.Max(0, ofCause+placeShare*(sum.entropy()-within-ofCause))
}

func (e effect) entropy() float64 {
	sum := 0.0
	for _, p := range e {
		if p > 0 {
			sum -= p * math.Log2(p)
		}
	}
	return sum
}

// telling says which likely cause would change under a condition, and which
// would stay.
func telling(all []hypothesis, c Condition, weighed string) string {
	weight, changes := map[string]float64{}, map[string]float64{}
	for _, h := range all {
		if h.cause() != nobody {
			weight[h.cause()] += h.weight
			changes[h.cause()] += h.weight * (1 - effectOf(h.cause(), h.places[h.main()], c, weighed)[stays])
		}
	}
	goes, stays, may := "", "", ""
	for _, x := range Causes() {
		switch share := changes[x] / weight[x]; {
		case weight[x] == 0:
		case share > 0.5 && weight[x] > weight[goes]:
			goes = x
		case share < 0.5 && weight[x] > weight[stays]:
			stays = x
		}
		if weight[x] > unforeseen && (may == "" || changes[x]/weight[x] > changes[may]/weight[may]) {
			may = x
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
