package hunt

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// causeSet is causes that may be there together: prior and pattern are logs,
// share is where each part starts.
type causeSet struct {
	causes         []string
	prior, pattern float64
	share          []shareOdds
}

func (b *bench) set(of sound, causes ...string) causeSet {
	base, db := b.base(), dbOf(b.base().power(of))
	s := causeSet{causes: causes, share: make([]shareOdds, len(b.parts[of]))}
	free := math.Max(base.hissDB+underHissDB, dbOf(base.strength())+underAllDB)
	doubt := (db - free) / doubtDB
	likely := causes
	if causes[0] == nobody {
		likely, doubt = []string{Bench}, -doubt
		s.prior = math.Log(nobodyPrior)
	}
	s.prior -= math.Log1p(math.Exp(-doubt))
	for _, c := range causes {
		if c != nobody {
			s.prior += math.Log(prior[of][c])
		}
		if c == Bench && b.board.Profile {
			s.prior += math.Log(benchWithProfile)
		}
	}
	if len(causes) == 2 {
		s.prior += math.Log(pairPrior)
	}
	var byClass [classes]shareOdds
	var byTone []float64
	if of == comb {
		s.pattern, byClass = base.fitComb(likely)
	} else {
		s.pattern, byTone = fitTones(base.tones, likely)
	}
	last := len(shares) - 1
	for i := range s.share {
		p, share := &b.parts[of][i], &s.share[i]
		switch {
		case len(causes) == 1:
			share[last] = 1
		case of == comb:
			*share = byClass[p.class]
		default:
			share[last], share[0] = byTone[p.tone], 1-byTone[p.tone]
		}
		strange := p.stranger
		if causes[0] == nobody {
			strange = mostStrange
		}
		for k := range share {
			share[k] *= 1 - strange
		}
		share[stranger] += strange
	}
	return s
}

// placed are the hypotheses of a set of causes, at all their places.
func (b *bench) placed(of sound, s causeSet) []hypothesis {
	var out []hypothesis
	seconds := []place{{prior: 1}}
	if len(s.causes) == 2 {
		seconds = places(s.causes[1], b.board, b.output)
	}
	// Places that no condition has told apart yet are judged once.
	judged := map[string]hypothesis{}
	for _, p := range places(s.causes[0], b.board, b.output) {
		for _, q := range seconds {
			at := []place{p, q}[:len(s.causes)]
			var effects [][2]effect
			for _, x := range b.spectra[1:] {
				e := [2]effect{1: untouched}
				for i := range at {
					e[i] = effectOf(s.causes[i], at[i], x.condition, b.output)
				}
				effects = append(effects, e)
			}
			key := fmt.Sprint(effects)
			h, known := judged[key]
			if !known {
				h = b.judge(of, s, effects)
				judged[key] = h
			}
			h.causes, h.places, h.logs = s.causes, at, slices.Clone(h.logs)
			if b.innocent != nil {
				h.logs[0] += math.Log(apart[at[h.main()].at][b.apart(of)])
			}
			h.log = s.prior + math.Log(p.prior*q.prior)
			for _, v := range h.logs {
				h.log += v
			}
			out = append(out, h)
		}
	}
	return out
}

// apart is how far a sound is under this at the quietest output, as an index.
func (b *bench) apart(of sound) int {
	db := dbOf(b.base().power(of) / math.Max(b.innocent.power(of), 1e-24))
	at := 0
	for at < len(apartFromDB) && db > apartFromDB[at] {
		at++
	}
	return at
}

// judge goes through the conditions one after the other: each says how likely
// it is that the causes have those effects, and which share of each part is whose.
func (b *bench) judge(of sound, s causeSet, effects [][2]effect) hypothesis {
	h := hypothesis{logs: []float64{s.pattern}}
	parts, share := b.parts[of], slices.Clone(s.share)
	like := make([]table, len(parts))
	alike := anything.gainsOf(of)
	for k, e := range effects {
		first, second := e[0].gainsOf(of), e[1].gainsOf(of)
		if len(s.causes) == 1 {
			second = ofGains{1} // nothing comes of it: any will do
		}
		var joint table
		sum, any := 0.0, 0.0
		for i, p := range first {
			for j, q := range second {
				if q == 0 {
					continue
				}
				v := 1.0
				for n := range parts {
					like[n][i][j] = 0
					for at, w := range share[n] {
						like[n][i][j] += w * parts[n].seen[k][at][i][j]
					}
					v *= like[n][i][j]
				}
				joint[i][j] = p * q * v
				sum += joint[i][j]
				if len(s.causes) == 1 {
					any += alike[i] * v
				} else {
					any += alike[i] * alike[j] * v
				}
			}
		}
		h.logs = append(h.logs, math.Log(math.Max((1-anyOutcome)*sum+anyOutcome*any, 1e-300)))
		for n := range parts {
			if sum > 0 {
				share[n].learn(&parts[n].seen[k], &joint, &like[n])
			}
		}
	}
	for n := range parts {
		mean, own, power := 0.0, math.Max(1-share[n][stranger], 1e-9), powerOf(parts[n].db)
		for at, v := range shares {
			mean += share[n][at] / own * v
		}
		h.first = append(h.first, mean)
		h.power[0] += own * mean * power
		h.power[1] += own * (1 - mean) * power
	}
	return h
}

// learn takes over what a condition says of a part's share: joint is how likely
// each pair of gains is by all parts, like by this part alone.
func (o *shareOdds) learn(seen *[len(shareOdds{})]table, joint, like *table) {
	for s := range o {
		sum := 0.0
		for i := range joint {
			for j, v := range joint[i] {
				if v > 0 {
					sum += v * seen[s][i][j] / like[i][j]
				}
			}
		}
		o[s] *= sum
	}
	o.normalise()
}

func (h *hypothesis) key() string { return strings.Join(h.causes, "+") }

func sortedCauses(of map[string]float64) []string {
	return slices.DeleteFunc(Causes(), func(c string) bool { _, ok := of[c]; return !ok })
}
