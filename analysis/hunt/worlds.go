package hunt

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// world is one way in which everything may be: no cause, one or two, each at a
// place.
type world struct {
	causes []string
	key    string // of the causes
	places []place
	// logs are those of the likelihoods of what was seen: the pattern as found,
	// then each condition; log is that of all with the prior, weight what that
	// comes to among all worlds.
	logs        []float64
	log, weight float64
	// combPower and tonePower are what each cause has of the comb and of the
	// tones as found, in V².
	combPower, tonePower [2]float64
}

// main is which cause is the stronger.
func (w *world) main() int {
	if len(w.causes) == 2 && w.combPower[1]+w.tonePower[1] > w.combPower[0]+w.tonePower[0] {
		return 1
	}
	return 0
}

// part is a class of the comb or a tone as found, which a condition may move.
type part struct {
	level
	class class
	tone  int // index of a tone, -1 for the comb
	// counts is how much it says, as a power: what is weak says little.
	counts float64
	// seen is by condition and share: how likely what it did is for each kind of
	// effect on the first cause and on the second; alone is what it is if none
	// of the causes brings it.
	seen  [][7]kinds
	alone []float64
}

type kinds [3][3]float64

// bench is what is weighed: the spectra at one output, and the board.
type bench struct {
	board   Board
	output  string
	spectra []spectrum
	parts   []part
	// apart is how far the hum is under this at the next output: within 3 dB,
	// to 10 dB, further; -1 where there is no other.
	apart int
}

func (b *bench) base() *spectrum { return &b.spectra[0] }

// newBench weighs at the output where there is most; nil where nothing was
// read as found.
func newBench(board Board, readings []Reading) *bench {
	all := map[string][]spectrum{}
	best := ""
	for _, output := range outputsOf(readings) {
		if s := spectraOf(readings, output); s != nil {
			all[output] = s
			if best == "" || s[0].strength() > all[best][0].strength() {
				best = output
			}
		}
	}
	if best == "" {
		return nil
	}
	b := &bench{board: board, output: best, spectra: all[best], apart: -1}
	var innocent *spectrum
	for o, s := range all {
		if o != best && (innocent == nil || s[0].strength() < innocent.strength()) {
			innocent = &s[0]
		}
	}
	if innocent != nil {
		switch db := 10 * math.Log10(b.base().strength()/math.Max(innocent.strength(), 1e-24)); {
		case db > 10:
			b.apart = 2
		case db > 3:
			b.apart = 1
		default:
			b.apart = 0
		}
	}
	b.list(innocent)
	return b
}

// mostTones are compared.
const mostTones = 8

// list makes the parts, and what each condition did to each.
func (b *bench) list(innocent *spectrum) {
	base := b.base()
	for c, l := range base.comb {
		if l.seen() {
			b.parts = append(b.parts, part{level: l, class: class(c), tone: -1})
		}
	}
	for i, t := range base.tones[:min(mostTones, len(base.tones))] {
		b.parts = append(b.parts, part{level: levelFrom(t.Level), tone: i})
	}
	most, all := [2]float64{base.combDB(), base.tonesDB()}, 0.0
	for i := range b.parts {
		p := &b.parts[i]
		top := most[0]
		if p.tone >= 0 {
			top = most[1]
		}
		p.counts = math.Pow(10, (p.db-top)/weakDB)
		all += p.counts
	}
	for i := range b.parts {
		p := &b.parts[i]
		p.counts *= math.Min(1, witnesses/all)
		for k := range b.spectra[1:] {
			now, std := b.now(p, &b.spectra[k+1]), p.std
			if innocent != nil && now.db < p.db+goneDB && now.db < b.now(p, innocent).db+innocentDB {
				now.bound = true
			}
			now.std = math.Hypot(math.Hypot(std, now.std), (base.movesDB+b.spectra[k+1].movesDB)/2)
			now.db -= p.db
			p.did(now)
		}
	}
}

// now is a part under a condition.
func (b *bench) now(p *part, s *spectrum) level {
	if p.tone < 0 {
		l := s.comb[p.class]
		if !l.known { // nothing was found there: no more than the noise
			l = level{db: s.hissDB - 40, bound: true, known: true}
		}
		return l
	}
	if i := indexTone(s.tones, b.base().tones[p.tone].FrequencyHz.Value); i >= 0 {
		l := levelFrom(s.tones[i].Level)
		l.std = math.Hypot(l.std, 1) // a tone that is not steady smears
		return l
	}
	return level{db: 20 * math.Log10(math.Max(s.toneBound, 1e-12)), bound: true, known: true}
}

// did adds what a condition did to the part: moved is in dB against as found.
func (p *part) did(moved level) {
	likelihood := func(db, std float64) float64 {
		std = math.Hypot(math.Hypot(std, moved.std), steadyDB)
		if moved.bound {
			return under(moved.db, db, std)
		}
		return normal(moved.db, db, std)
	}
	flat := 1 / oddRangeDB
	if moved.bound {
		flat = 0.5
	}
	all := gains
	if p.tone >= 0 {
		all[2] = append(slices.Clone(gains[2]), ofOne...)
	}
	var seen [7]kinds
	for s, share := range shares {
		for i := range all {
			for j := range all {
				sum, weight := 0.0, 0.0
				for _, g := range all[i] {
					for _, h := range all[j] {
						first, second := share*powerOf(g.db), (1-share)*powerOf(h.db)
						total := math.Max(first+second, 1e-14)
						v := g.share * h.share
						apart := math.Min(1, math.Abs(g.db-h.db)/10)
						std := math.Hypot((first*g.std+second*h.std)/total, beatingDB*apart*math.Sqrt(share*(1-share)))
						sum += v * likelihood(10*math.Log10(total), std)
						weight += v
					}
				}
				seen[s][i][j] = math.Pow((1-oddPart)*sum/weight+oddPart*flat, p.counts)
			}
		}
	}
	p.seen = append(p.seen, seen)
	p.alone = append(p.alone, math.Pow(0.9*likelihood(0, 0)+0.1*flat, p.counts))
}

// worlds lists and weighs all that may be.
func (b *bench) worlds() []world {
	var out []world
	quiet := HissOnly
	if b.base().floorLines {
		quiet = Bench
	}
	if len(b.parts) == 0 {
		return []world{{causes: []string{quiet}, places: []place{{}}, logs: make([]float64, len(b.spectra)), weight: 1}}
	}
	combs := map[[2]string]combFit{}
	best := math.Inf(-1)
	if !math.IsInf(b.base().combDB(), -1) {
		for i, c := range combCauses {
			combs[[2]string{c}] = fitComb(b.base(), []string{c})
			best = math.Max(best, combs[[2]string{c}].log)
			for _, d := range combCauses[i+1:] {
				combs[[2]string{c, d}] = fitComb(b.base(), []string{c, d})
			}
		}
	}
	for pair, f := range combs {
		if pair[1] == "" {
			least := best - patternSays
			if pair[0] == Dimmer || pair[0] == Ripple {
				least = best - lackSays
			}
			f.log = logSum([]float64{f.log, least})
			combs[pair] = f
		}
	}
	sets := b.sets(combs)
	most := math.Inf(-1)
	for _, s := range sets {
		most = math.Max(most, s.log)
	}
	for _, s := range sets {
		if s.log > most-hopeless {
			out = append(out, b.placed(s)...)
		}
	}
	logs := make([]float64, len(out))
	for i := range out {
		logs[i] = out[i].log
	}
	sum := logSum(logs)
	for i := range out {
		out[i].weight = math.Exp(out[i].log - sum)
	}
	slices.SortStableFunc(out, func(a, b world) int { return cmp.Compare(b.weight, a.weight) })
	return out
}

// causeSet is causes that may be there together: log is that of their prior
// and of the pattern as found, share where each part starts.
type causeSet struct {
	causes       []string
	log, pattern float64
	share        [][7]float64
}

// sets lists the causes by one and by two, those left out that bring nothing
// of what is there.
func (b *bench) sets(combs map[[2]string]combFit) []causeSet {
	var out []causeSet
	all := Causes()
	for i, c := range all {
		out = b.addSet(out, combs, c)
		for _, d := range all[i+1:] {
			out = b.addSet(out, combs, c, d)
		}
	}
	return out
}

func (b *bench) addSet(out []causeSet, combs map[[2]string]combFit, causes ...string) []causeSet {
	base := b.base()
	comb, tones := base.combDB(), base.tonesDB()
	free := math.Max(base.hissDB+underHissDB, 10*math.Log10(base.strength())+underAllDB)
	doubt := func(db float64, explained bool) float64 {
		x := (db - free) / doubtDB
		if explained {
			x = -x
		}
		return -math.Log1p(math.Exp(x))
	}
	var fit combFit
	var toneShare []float64
	s := causeSet{causes: causes, share: make([][7]float64, len(b.parts))}
	ofComb, ofTones := among(causes, combCauses), among(causes, toneCauses)
	for _, c := range causes {
		s.log += math.Log(prior[c])
		if c == Bench && b.board.Profile {
			s.log += math.Log(0.1) // its own is taken off already
		}
		if c == HissOnly && len(causes) > 1 || c != HissOnly && !b.may(c) {
			return out
		}
	}
	if len(causes) == 2 {
		s.log += math.Log(pairPrior)
	}
	if !math.IsInf(comb, -1) {
		key := [2]string{Bench}
		copy(key[:], ofComb)
		fit = combs[key]
		s.pattern += fit.log + doubt(comb, len(ofComb) > 0)
	}
	if len(base.tones) > 0 {
		var v float64
		v, toneShare = fitTones(base.tones, ofTones)
		s.pattern += v + doubt(tones, len(ofTones) > 0)
	}
	s.log += s.pattern
	for i := range b.parts {
		p, share := &b.parts[i], &s.share[i]
		own := ofComb
		if p.tone >= 0 {
			own = ofTones
		}
		switch {
		case len(own) == 2 && p.tone >= 0:
			share[6], share[0] = toneShare[p.tone], 1-toneShare[p.tone]
		case len(own) == 2:
			*share = fit.share[p.class]
		case len(own) == 1 && own[0] == causes[0]:
			share[6] = 1
		case len(own) == 1:
			share[0] = 1
		}
	}
	return append(out, s)
}

func among(causes, of []string) []string {
	var out []string
	for _, c := range causes {
		if slices.Contains(of, c) {
			out = append(out, c)
		}
	}
	return out
}

// may says whether a cause brings anything that is there.
func (b *bench) may(cause string) bool {
	return slices.ContainsFunc(b.parts, func(p part) bool {
		return p.tone < 0 && slices.Contains(combCauses, cause) || p.tone >= 0 && slices.Contains(toneCauses, cause)
	})
}

// placed are the worlds of a set of causes, at all their places.
func (b *bench) placed(s causeSet) []world {
	var out []world
	seconds := []place{{prior: 1}}
	if len(s.causes) == 2 {
		seconds = places(s.causes[1], b.board, b.output)
	}
	for _, p := range places(s.causes[0], b.board, b.output) {
		for _, q := range seconds {
			w := world{causes: s.causes, key: strings.Join(s.causes, "+"), places: []place{p, q}[:len(s.causes)], logs: []float64{s.pattern}}
			b.follow(&w, slices.Clone(s.share))
			if b.apart >= 0 {
				w.logs[0] += math.Log(aparts(w.places[w.main()])[b.apart])
			}
			w.log = s.log - s.pattern + math.Log(p.prior*q.prior)
			for _, v := range w.logs {
				w.log += v
			}
			out = append(out, w)
		}
	}
	return out
}

// follow goes through the conditions one after the other: each says how likely
// the world is, and which share of each part is whose.
func (b *bench) follow(w *world, share [][7]float64) {
	for k := range b.spectra[1:] {
		c := b.spectra[k+1].condition
		e, f := effectOf(w.causes[0], w.places[0], c, b.output), effect{0, 1, 0}
		if len(w.causes) == 2 {
			f = effectOf(w.causes[1], w.places[1], c, b.output)
		}
		var of kinds
		sum, any := 0.0, 0.0
		for i, p := range e.chances() {
			for j, q := range f.chances() {
				v := 1.0
				for n := range b.parts {
					v *= b.parts[n].likelihood(k, i, j, &share[n])
				}
				of[i][j] = p * q * v
				sum += of[i][j]
				any += v / 9
			}
		}
		w.logs = append(w.logs, math.Log(math.Max((1-anyOutcome)*sum+anyOutcome*any, 1e-300)))
		if len(w.causes) == 2 {
			b.learn(k, of, sum, share)
		}
	}
	for n := range b.parts {
		p := &b.parts[n]
		to := &w.combPower
		if p.tone >= 0 {
			to = &w.tonePower
		}
		for s, v := range share[n] {
			to[0] += v * shares[s] * p.power()
			to[1] += v * (1 - shares[s]) * p.power()
		}
	}
}

// likelihood is that of what condition k did to a part under two kinds of
// effect, whatever its share.
func (p *part) likelihood(k, i, j int, share *[7]float64) float64 {
	sum, known := 0.0, false
	for s, v := range share {
		if v > 0 {
			known = true
			sum += v * p.seen[k][s][i][j]
		}
	}
	if !known {
		return p.alone[k]
	}
	return sum
}

// learn takes over what a condition says of the shares.
func (b *bench) learn(k int, of kinds, sum float64, share [][7]float64) {
	for n := range b.parts {
		var next [7]float64
		all := 0.0
		for s, v := range share[n] {
			if v == 0 {
				continue
			}
			for i := range of {
				for j := range of[i] {
					next[s] += v * of[i][j] / math.Max(sum, 1e-300) * b.parts[n].seen[k][s][i][j] / b.parts[n].likelihood(k, i, j, &share[n])
				}
			}
			all += next[s]
		}
		if all > 0 {
			for s := range next {
				next[s] /= all
			}
			share[n] = next
		}
	}
}
