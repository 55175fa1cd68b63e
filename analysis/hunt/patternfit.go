package hunt

import "math"

// A combFit is how well a set of at most two causes explains the comb as
// found, and what share of each line's power each has then.
type combFit struct {
	causes []string
	// logEvidence is the logarithm of the mean likelihood over all that is not
	// known: levels, distortion, corner, firing angle.
	logEvidence float64
	logPrior    float64
	// share is by cause, and last what is left to clutter, by line, where the
	// fit is best; levelDB is each cause's strongest line there.
	share   [][]float64
	levelDB []float64
}

const (
	// clutterDB under the strongest line anything may lie, from whatever else
	// is about; clutterSpread is how far from there.
	clutterDB     = -48.0
	clutterSpread = 9.0
	// tailShare of lines are anywhere within tailDB.
	tailShare = 0.03
	tailDB    = 60.0
	// levelStepDB divides the levels tried, from a little over the strongest
	// line down to levelReachDB under it.
	levelStepDB  = 5.0
	levelReachDB = 44.0
	levelOverDB  = 8.0
	levelLeadDB  = 12.0
	// beatingDB2 times both shares of power is the variance that the unknown
	// phase between two causes adds to a line's level: 2·(20/ln 10)²·w·(1−w),
	// widened for the long tail towards silence.
	beatingDB2 = 100.0
)

// fitComb explains the spectrum by a set of one or two causes.
func fitComb(s *spectrum, causes []string) combFit {
	best := combFit{causes: causes, logEvidence: math.Inf(-1)}
	top := s.loudestDB()
	sets := [][]template{manyTemplates[causes[0]], {{}}}
	levels := [][]float64{levelsFrom(top, 2), {math.Inf(-1)}}
	if len(causes) == 2 {
		sets = [][]template{fewTemplates[causes[0]], fewTemplates[causes[1]]}
		levels = [][]float64{levelsFrom(top, levelStepDB), levelsFrom(top, levelStepDB)}
	}
	var logs []float64
	most := math.Inf(-1)
	for i := range sets[0] {
		for j := range sets[1] {
			pair := []*template{&sets[0][i], &sets[1][j]}[:len(causes)]
			for _, la := range levels[0] {
				for _, lb := range levels[1] {
					// One of them must bring the strongest line.
					if math.Max(la, lb) < top-levelLeadDB {
						continue
					}
					at := []float64{la, lb}[:len(causes)]
					v := logLikelihood(s, top, pair, at)
					logs = append(logs, v)
					if v > most {
						most = v
						best.share, best.levelDB = shares(top, pair, at), at
					}
				}
			}
		}
	}
	best.logEvidence = logMean(logs)
	return best
}

// atLeast is f with an evidence of at least log. If a single cause is there
// although its pattern is not, the comb is what it brings all the same, as odd
// explains it.
func (f combFit) atLeast(log float64, odd combFit) combFit {
	if f.logEvidence >= log {
		return f
	}
	f.logEvidence = log
	if len(f.causes) == 1 {
		f.share, f.levelDB = odd.share, odd.levelDB
	}
	return f
}

func levelsFrom(top, step float64) []float64 {
	var out []float64
	for l := top + levelOverDB; l >= top-levelReachDB; l -= step {
		out = append(out, l)
	}
	return out
}

const dbToNeper = math.Ln10 / 10

func powerOf(db float64) float64 { return math.Exp(db * dbToNeper) }

// logLikelihood is that of all lines under templates at levels, with clutter.
// Templates err for many lines together, the more so the higher, so that lines
// do not count as if each were a witness by itself.
func logLikelihood(s *spectrum, top float64, ts []*template, levels []float64) float64 {
	sum := 0.0
	clutter := powerOf(top + clutterDB)
	var scale [2]float64
	for k := range ts {
		scale[k] = powerOf(levels[k])
	}
	for i := range s.lines {
		l := &s.lines[i]
		if l.absent {
			continue
		}
		total := clutter
		spread2 := clutter * clutter * clutterSpread * clutterSpread
		cross := 0.0
		for k, t := range ts {
			p := scale[k] * t.power[i]
			cross += p * total
			spread2 += p * p * t.spread[i] * t.spread[i]
			total += p
		}
		mean := math.Log(total) / dbToNeper
		std := math.Sqrt((spread2+beatingDB2*cross)/(total*total) + l.std*l.std + 0.1)
		v := 0.0
		if l.bound {
			v = (1-tailShare)*below1(l.db, mean, std) + tailShare/2
		} else {
			v = (1-tailShare)*normal(l.db, mean, std) + tailShare/tailDB
		}
		sum += witness[i] * math.Log(v)
	}
	return sum
}

// witness is how much a line counts.
var witness = func() []float64 {
	out := make([]float64, len(numbers))
	for i, n := range numbers {
		out[i] = 0.7 / math.Sqrt(1+float64(n)/5)
	}
	return out
}()

// shares are of each cause in each line, and of clutter last.
func shares(top float64, ts []*template, levels []float64) [][]float64 {
	out := make([][]float64, len(ts)+1)
	for k := range out {
		out[k] = make([]float64, len(numbers))
	}
	for i := range numbers {
		total := powerOf(top + clutterDB)
		out[len(ts)][i] = total
		for k, t := range ts {
			out[k][i] = powerOf(levels[k] + t.db[i])
			total += out[k][i]
		}
		for k := range out {
			out[k][i] /= total
		}
	}
	return out
}

// normal is the density of a normal variate.
func normal(x, mean, std float64) float64 {
	d := (x - mean) / std
	return math.Exp(-d*d/2) / (std * math.Sqrt(2*math.Pi))
}

// below1 is the chance that a normal variate is under x, never quite 0.
func below1(x, mean, std float64) float64 {
	return math.Max(math.Erfc((mean-x)/(std*math.Sqrt2))/2, 1e-12)
}

// logMean is the logarithm of the mean of exponentials.
func logMean(logs []float64) float64 {
	return logSum(logs) - math.Log(float64(len(logs)))
}

func logSum(logs []float64) float64 {
	most := math.Inf(-1)
	for _, v := range logs {
		most = math.Max(most, v)
	}
	if math.IsInf(most, -1) {
		return most
	}
	sum := 0.0
	for _, v := range logs {
		sum += math.Exp(v - most)
	}
	return most + math.Log(sum)
}

// Phase relations say more of two causes than levels do: the lines of a
// sawtooth and those of a sharp edge are in step. How far they may be out of
// step is the concentration of a von Mises distribution; phaseShare of them
// are, the others are anywhere.
const (
	phaseConcentration = 2.5
	phaseShare         = 0.8
)

// logPhase is by how much better the phases fit the cause than chance.
func logPhase(s *spectrum, cause string) float64 {
	at := map[int]line{}
	for i, n := range numbers {
		if l := s.lines[i]; l.phased && !l.bound && l.std < 1.5 {
			at[n] = l
		}
	}
	switch cause {
	case Ripple:
		return sawtoothPhases(at)
	case Dimmer:
		return edgePhases(at)
	}
	return 0
}

// sawtoothPhases: Σ sin(mθ)/m has all its sines begin together, so that line
// 2m, as a cosine, is at m times line 2's phase less (1−m) quarter turns, one
// way or the other.
func sawtoothPhases(at map[int]line) float64 {
	two, ok := at[2]
	if !ok {
		return 0
	}
	var ways []float64
	for _, way := range []float64{math.Pi / 2, -math.Pi / 2} {
		sum := 0.0
		for m := 2; m <= 5; m++ {
			if l, ok := at[2*m]; ok {
				sum += logStep(l.phase - float64(m)*two.phase - float64(1-m)*way)
			}
		}
		ways = append(ways, sum)
	}
	return logMean(ways)
}

// edgePhases: the lines of an edge advance by one angle from each to the next.
func edgePhases(at map[int]line) float64 {
	sum := 0.0
	for n := 7; n+2 <= 29; n += 4 {
		a, ok1 := at[n-2]
		b, ok2 := at[n]
		c, ok3 := at[n+2]
		if ok1 && ok2 && ok3 {
			sum += logStep(c.phase - 2*b.phase + a.phase)
		}
	}
	return sum
}

// logStep compares a phase out of step by x with one that is anywhere.
func logStep(x float64) float64 {
	// I0(2.5) = 3.2898 (Abramowitz & Stegun, table 9.8, from memory).
	const bessel = 3.2898
	return math.Log(phaseShare*math.Exp(phaseConcentration*math.Cos(x))/bessel + 1 - phaseShare)
}
