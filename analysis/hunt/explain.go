package hunt

import (
	"cmp"
	"math"
	"slices"
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
