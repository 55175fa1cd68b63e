package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// part is a class of the comb or a tone as found, which a condition may move.
type part struct {
	level
	of    sound
	class class
	tone  int
	// heard is how much it matters, by its level under the strongest of all.
	heard float64
	// stranger is the chance that it is somebody else's.
	stranger float64
	// seen is by condition: how likely what it did is, by the share of the first
	// cause in it and what became of the first and of the second.
	seen [][len(shareOdds{})]table
}

// table is by the gain of the first cause and of the second.
type table [len(gains)][len(gains)]float64

// ofGains are the chances of gains.
type ofGains [len(gains)]float64

// gainsOf is what an effect does in a sound.
func (e effect) gainsOf(of sound) ofGains {
	var out ofGains
	for i, g := range gains {
		for kind, p := range e {
			if kind == jumps && of == tone {
				kind = len(e)
			}
			out[i] += p * g.chance[kind]
		}
	}
	return out
}

// hypothesis is one way in which one sound may come about: by nobody, one cause
// or two, each at a place.
type hypothesis struct {
	causes []string
	places []place
	// logs are those of the likelihoods of what was seen: the pattern as found,
	// then each condition; log is that of all with the prior, weight what that
	// comes to among all hypotheses of the sound.
	logs        []float64
	log, weight float64
	// first is the share of the first cause in each part of the sound, power what
	// each has of the sound as found, in V².
	first []float64
	power [2]float64
}

// nobody is who a sound is of that none of the causes brings.
const nobody = ""

// main is the stronger cause's index.
func (h *hypothesis) main() int {
	if h.power[1] > h.power[0] {
		return 1
	}
	return 0
}

func (h *hypothesis) cause() string { return h.causes[h.main()] }

// bench is what is weighed: the spectra at one output, and the board.
type bench struct {
	board    Board
	output   string
	spectra  []spectrum
	innocent *spectrum // of the quietest other output as found, nil for none
	parts    [2][]part
	explain  [2][]hypothesis
	// order is of the sounds, the louder first.
	order [2]sound
}

func (b *bench) base() *spectrum { return &b.spectra[0] }

// newBench weighs at the output where there is most; nil where nothing was
// read as found.
func newBench(board Board, readings []Reading) *bench {
	b := &bench{board: board, order: [2]sound{comb, tone}}
	all := map[string][]spectrum{}
	for _, output := range outputsOf(readings) {
		if s := spectraOf(readings, output); s != nil {
			all[output] = s
			if b.output == "" || s[0].strength() > b.base().strength() {
				b.output, b.spectra = output, s
			}
		}
	}
	if b.output == "" {
		return nil
	}
	for o, s := range all {
		if o != b.output && (b.innocent == nil || s[0].strength() < b.innocent.strength()) {
			b.innocent = &s[0]
		}
	}
	if b.base().power(tone) > b.base().power(comb) {
		b.order = [2]sound{tone, comb}
	}
	for c, l := range b.base().comb {
		if l.seen() {
			b.parts[comb] = append(b.parts[comb], part{level: l, of: comb, class: class(c)})
		}
	}
	for i, t := range b.base().tones[:min(mostTones, len(b.base().tones))] {
		b.parts[tone] = append(b.parts[tone], part{level: levelFrom(t.Level), of: tone, tone: i})
	}
	for of := range b.parts {
		b.follow(b.parts[of], dbOf(b.base().power(sound(of))))
		b.explain[of] = b.hypotheses(sound(of))
	}
	return b
}

// follow notes what each condition did to the parts of a sound.
func (b *bench) follow(parts []part, topDB float64) {
	loudest := dbOf(math.Max(b.base().power(comb), b.base().power(tone)))
	for i := range parts {
		p := &parts[i]
		p.heard = math.Pow(10, (p.db-loudest)/weakDB)
		p.stranger = math.Min(mostStrange, strangerShare*math.Pow(10, (topDB-p.db)/strangerDB))
		for k := range b.spectra[1:] {
			s := &b.spectra[k+1]
			now, std := b.now(p, s), p.std
			if b.innocent != nil && now.db < p.db+goneDB && now.db < b.now(p, b.innocent).db+innocentDB {
				now.bound = true
			}
			now.std = math.Hypot(math.Hypot(std, now.std), math.Hypot((b.base().movesDB+s.movesDB)/2, steadyDB))
			now.db -= p.db
			p.seen = append(p.seen, likelihoods(now))
		}
	}
}

// now is a part under a condition.
func (b *bench) now(p *part, s *spectrum) level {
	if p.of == comb {
		if l := s.comb[p.class]; l.known {
			return l
		}
		return level{db: s.hissDB - 40, bound: true, known: true} // no more than the noise
	}
	if i := indexTone(s.tones, b.base().tones[p.tone].FrequencyHz.Value); i >= 0 {
		l := levelFrom(s.tones[i].Level)
		l.std = math.Hypot(l.std, 1) // a tone that is not steady smears
		return l
	}
	return boundOf(s.toneBound)
}

// likelihoods are those of a part's move in dB against as found.
func likelihoods(moved level) (seen [len(shareOdds{})]table) {
	flat := 1 / oddRangeDB
	if moved.bound {
		flat = 0.5
	}
	of := func(db, std float64) float64 {
		if std = math.Hypot(moved.std, std); moved.bound {
			return under(moved.db, db, std)
		}
		return normal(moved.db, db, std)
	}
	for s := range seen {
		for i, g := range gains {
			for j, h := range gains {
				v := strangerStays*of(0, 0) + (1-strangerStays)*flat
				switch {
				case s == stranger:
				case g.each || h.each:
					v = of(0, 0)/2 + of(nothingDB, 0)/2
				default:
					first, second := shares[s]*powerOf(g.db), (1-shares[s])*powerOf(h.db)
					total := math.Max(first+second, powerOf(nothingDB))
					beats := beatingDB * math.Min(1, math.Abs(g.db-h.db)/10) * math.Sqrt(shares[s]*(1-shares[s]))
					v = of(dbOf(total), math.Hypot((first*g.std+second*h.std)/total, beats))
				}
				seen[s][i][j] = (1-oddPart)*v + oddPart*flat
			}
		}
	}
	return seen
}

// hypotheses lists and weighs how a sound may come about, the likeliest first.
func (b *bench) hypotheses(of sound) []hypothesis {
	if len(b.parts[of]) == 0 {
		return nil
	}
	causes := sortedCauses(prior[of])
	sets := []causeSet{b.set(of, nobody)}
	for i, c := range causes {
		sets = append(sets, b.set(of, c))
		for _, d := range causes[i:] {
			// Two converters are two of a kind, and if they beat that is what they do.
			if c == d && c == Converter || c != d && (c != Converter || d != Beat) {
				sets = append(sets, b.set(of, c, d))
			}
		}
	}
	best, most := math.Inf(-1), math.Inf(-1)
	for _, s := range sets {
		if len(s.causes) == 1 && s.causes[0] != nobody {
			best = math.Max(best, s.pattern)
		}
	}
	for i := range sets {
		s := &sets[i]
		if len(s.causes) == 1 && of == comb {
			says := patternSays
			if s.causes[0] == Dimmer || s.causes[0] == Ripple {
				says = lackSays
			}
			s.pattern = logSum([]float64{s.pattern, best - math.Log(says)})
		}
		most = math.Max(most, s.prior+s.pattern)
	}
	var out []hypothesis
	var logs []float64
	for _, s := range sets {
		if s.prior+s.pattern > most-hopeless {
			out = append(out, b.placed(of, s)...)
		}
	}
	for i := range out {
		logs = append(logs, out[i].log)
	}
	sum := logSum(logs)
	for i := range out {
		out[i].weight = math.Exp(out[i].log - sum)
	}
	slices.SortStableFunc(out, func(a, b hypothesis) int { return cmp.Compare(b.weight, a.weight) })
	return out
}

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
