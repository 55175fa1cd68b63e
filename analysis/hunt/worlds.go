package hunt

import (
	"cmp"
	"math"
	"slices"
)

// world is one way in which things may be as to the comb, or as to the tones:
// which causes are there and where each comes in, with the logarithm of its
// weight.
type world struct {
	causes []string
	places []place
	log    float64
	// volts is how much each cause has in the whole.
	volts []float64
}

// bench is what is weighed: the spectra at one output, and the board.
type bench struct {
	board   Board
	output  string
	spectra []spectrum
	// fits are how the comb is explained by one cause or two, and odd by none.
	fits []combFit
	odd  combFit
	// apartDB is how far the hum as found is under this at the next output, -1
	// where there is no other.
	apartDB float64
}

func (b *bench) base() *spectrum { return &b.spectra[0] }

// Priors of causes before anything was seen, relative to each other: loops are
// met most (common practice, no source), what no cause explains is rare.
var prior = map[string]float64{
	GroundLoop: 0.20, Magnetic: 0.15, Ripple: 0.15, Electric: 0.15, Dimmer: 0.12,
	Converter: 0.4, Beat: 0.3, USB: 0.2,
	HissOnly: 0.05, Bench: 0.03,
}

// weaklyDB is how far the comb of an instrument that is in order lies under
// its hiss, and weaklySpread how much that differs; hum that is worth a hunt is
// anywhere over rangeDB.
const (
	weaklyDB     = -25.0
	weaklySpread = 8.0
	rangeDB      = 100.0
)

// combWorlds lists what may be so as to the comb.
func (b *bench) combWorlds() []world {
	base := b.base()
	if base.visible() == 0 {
		return []world{{}}
	}
	var out []world
	if log, ok := byChance(base); ok {
		out = append(out, world{log: log})
	}
	for _, f := range b.fits {
		out = append(out, b.worldsOf(f, f.logPrior)...)
	}
	weak := 20 * math.Log10(base.comb()/math.Max(base.hiss.RMS.Value, 1e-12))
	for _, c := range []string{HissOnly, Bench} {
		p := prior[c] * normal(math.Max(weak, weaklyDB), weaklyDB, weaklySpread)
		if c == Bench && b.board.Profile {
			p *= 0.1 // its own is taken off already
		}
		odd := b.odd
		odd.causes = []string{c}
		out = append(out, b.worldsOf(odd, math.Log(p))...)
	}
	return out
}

// fitCombs explains the comb by each cause and each two of them, those left out
// that are hopeless.
func (b *bench) fitCombs() {
	base := b.base()
	if base.visible() == 0 {
		return
	}
	var fits []combFit
	best := math.Inf(-1)
	add := func(p float64, causes ...string) {
		f := combFitOf(base, causes...)
		f.logPrior = math.Log(p / rangeDB)
		f.logEvidence += b.logOutputs(f)
		best = math.Max(best, f.logEvidence)
		fits = append(fits, f)
	}
	for i, c := range combCauses {
		add(prior[c], c)
		for _, d := range combCauses[i+1:] {
			add(prior[c]*prior[d], c, d)
		}
	}
	b.odd = fitComb(base, []string{unexplained})
	for _, f := range fits {
		if f.logEvidence > best-hopeless || len(f.causes) == 1 {
			b.fits = append(b.fits, f.atLeast(best-patternSays, b.odd))
		}
	}
}

// aparts are the chances that the hum is within 3 dB at another output, 3 to 10
// dB under that at the one weighed, and further under it: a loop is in one
// output's lead, most else comes in ahead of the split (common practice).
var loopAparts, otherAparts = [3]float64{0.2, 0.15, 0.65}, [3]float64{0.45, 0.2, 0.35}

// logOutputs is what the other outputs say of the stronger cause of a fit.
func (b *bench) logOutputs(f combFit) float64 {
	if b.apartDB < 0 {
		return 0
	}
	main := 0
	if len(f.causes) == 2 && f.levelDB[1] > f.levelDB[0] {
		main = 1
	}
	at := 0
	switch {
	case b.apartDB > 10:
		at = 2
	case b.apartDB > 3:
		at = 1
	}
	if f.causes[main] == GroundLoop {
		return math.Log(loopAparts[at])
	}
	return math.Log(otherAparts[at])
}

// patternSays is the most that the pattern as found says for one cause over
// another, as a logarithm: no two houses are alike, and what no template
// foretells is not impossible. What is done at the bench must say the rest.
var patternSays = math.Log(20)

// hopeless is how much worse than the best a pattern must be explained by two
// causes, as a logarithm, for conditions not to be asked: they could not make up for it.
const hopeless = 30

// Noise alone shows a line now and then: one in 3000, at combLevel of package
// analysis, of some forty; within chanceStdDB of its level, and hardly three.
const (
	chanceLines = 3
	chanceStdDB = 1.2
	lineChance  = 40.0 / 3000
)

// byChance is the weight of there being no hum but noise that looks like it.
func byChance(s *spectrum) (log float64, ok bool) {
	log = math.Log(prior[HissOnly])
	for _, l := range s.lines {
		if l.bound || l.absent {
			continue
		}
		if l.std < chanceStdDB {
			return 0, false
		}
		log += math.Log(lineChance / (2 * l.std))
	}
	return log, s.visible() <= chanceLines
}

func combFitOf(s *spectrum, causes ...string) combFit {
	f := fitComb(s, causes)
	for k, c := range causes {
		// Phases say something of a cause only where it has the lines to itself.
		if p := logPhase(s, c); len(causes) == 1 || meanShare(f.share[k], s) > 0.3 {
			f.logEvidence += p
		}
	}
	return f
}

func meanShare(share []float64, s *spectrum) float64 {
	sum, n := 0.0, 0.0
	for i, l := range s.lines {
		if !l.bound && !l.absent {
			sum += share[i]
			n++
		}
	}
	return sum / math.Max(n, 1)
}

// worldsOf multiplies a fit by what each condition says, place by place.
func (b *bench) worldsOf(f combFit, logPrior float64) []world {
	var seen []kinds
	for i := range b.spectra[1:] {
		seen = append(seen, b.under(f, &b.spectra[i+1]))
	}
	volts := make([]float64, len(f.causes))
	for k := range volts {
		for i, l := range b.base().lines {
			if !l.bound && !l.absent {
				volts[k] += f.share[k][i] * powerOf(l.db)
			}
		}
		volts[k] = math.Sqrt(volts[k])
	}
	return b.placed(f.causes, volts, seen, f.logEvidence+logPrior)
}

// under is the likelihood of what a condition did to the comb. A cause that is
// alone brings the lines that its template foretells, or, as likely, all of
// them.
func (b *bench) under(f combFit, now *spectrum) kinds {
	two := len(f.causes) == 2
	k := likelihoodOf(combMoves(b.base(), now, f.share), two)
	if two {
		return k
	}
	all := likelihoodOf(combMoves(b.base(), now, b.odd.share), false)
	for i := range k {
		for j := range k[i] {
			k[i][j] = logMean([]float64{k[i][j], all[i][j]})
		}
	}
	return k
}

// placed spreads the weight of a set of causes over where they may come in.
func (b *bench) placed(causes []string, volts []float64, seen []kinds, log float64) []world {
	most := make([]float64, len(seen))
	for i := range seen {
		most[i] = seen[i].most()
	}
	second := []place{{prior: 1}}
	if len(causes) == 2 {
		second = places(causes[1], b.board, b.output)
	}
	var out []world
	for _, p := range places(causes[0], b.board, b.output) {
		for _, q := range second {
			w := world{causes: causes, volts: volts, places: []place{p, q}[:len(causes)], log: log + math.Log(p.prior*q.prior)}
			for i := range seen {
				c := b.spectra[i+1].condition
				other := effect{0, 1, 0}
				if len(causes) == 2 {
					other = effectOf(causes[1], q, c, b.output)
				}
				w.log += seen[i].under(effectOf(causes[0], p, c, b.output), other, most[i])
			}
			out = append(out, w)
		}
	}
	return out
}

// normalised makes weights of logarithms, the heaviest first, and leaves out
// what is next to impossible.
func normalised(worlds []world) []world {
	logs := make([]float64, len(worlds))
	for i, w := range worlds {
		logs[i] = w.log
	}
	sum := logSum(logs)
	var out []world
	for _, w := range worlds {
		if w.log -= sum; w.log > math.Log(1e-5) {
			out = append(out, w)
		}
	}
	slices.SortStableFunc(out, func(a, b world) int { return cmp.Compare(b.log, a.log) })
	return out
}
