package analysis

import (
	"math"
	"math/cmplx"
)

// averageGated combines the responses of several takes at one output. Each
// frequency is weighed by the inverse of the noise's power there. The takes
// are lined up in time first where lineUp is set; the arrival is then the
// mean of theirs. The noise of the result is that of the same mean of their
// noise, so what every take holds alike does not average away, times
// √(chi²) where the takes scatter more than it explains.
func averageGated(takes []*Gated, lineUp bool) (*Gated, error) {
	if len(takes) == 1 {
		return takes[0], nil
	}
	weights := gatedWeights(takes)
	arrival := takes[0].ArrivalS
	if lineUp {
		var err error
		if takes, arrival, err = linedUp(takes, weights); err != nil {
			return nil, err
		}
	}
	out := meanGated(takes, weights, arrival)
	scatter := scatterBeyond(takes, out)
	out.widen(scatter)
	if fine := fineOf(takes); fine != nil {
		for t := range weights {
			weights[t] = onGrid(fine[0].FrequencyHz, takes[0].FrequencyHz, weights[t])
		}
		out.fine = meanGated(fine, weights, arrival)
		out.fine.widen(scatter)
	}
	return out, nil
}

// fineOf is the fine grids' of takes, nil where one has none.
func fineOf(takes []*Gated) []*Gated {
	var fine []*Gated
	for _, g := range takes {
		if g.fine == nil {
			return nil
		}
		fine = append(fine, g.fine)
	}
	return fine
}

// meanGated is the mean of takes with weights as [take][grid point].
func meanGated(takes []*Gated, weights [][]float64, arrival float64) *Gated {
	first := takes[0]
	out := &Gated{FrequencyHz: first.FrequencyHz, H: make([]complex128, len(first.H)), noise: make([][]complex128, len(first.H)), ArrivalS: arrival, long: first.long, ripple: first.ripple, reference: first.reference, pairs: meanPairs(takes, weights), untold: first.untold, note: first.note}
	for i := range out.H {
		rows := len(first.noise[i])
		for _, g := range takes {
			rows = min(rows, len(g.noise[i]))
		}
		out.noise[i] = make([]complex128, rows)
		out.disturbed, out.changes = append(out.disturbed, 0), append(out.changes, 0)
		for t, g := range takes {
			out.disturbed[i] = Hypot(out.disturbed[i], weights[t][i]*g.eventsRelStd(i))
			out.changes[i] = Hypot(out.changes[i], weights[t][i]*g.changesRelStd(i))
			out.H[i] += scale(weights[t][i], g.H[i])
			for j := range out.noise[i] {
				out.noise[i][j] += scale(weights[t][i], g.noise[i][j])
			}
		}
	}
	for _, g := range takes[1:] {
		out.long = eitherLong(out.long, g.long)
	}
	if first.at != nil {
		out.at = meanAt(takes, weights)
	}
	out.Noise = out.smoothNoise()
	return out
}

// meanAt reads the mean of takes between the points. It holds no more of them than
// it must: they are large.
func meanAt(takes []*Gated, weights [][]float64) func(hz float64) complex128 {
	grid, reads := takes[0].FrequencyHz, make([]func(hz float64) complex128, len(takes))
	for t, g := range takes {
		reads[t] = g.at
	}
	return func(hz float64) (sum complex128) {
		for t, at := range reads {
			w := onGrid([]float64{hz}, grid, weights[t])
			sum += scale(w[0], at(hz))
		}
		return sum
	}
}

// weightOctaves is over how wide a band the noise is averaged for weights:
// the noise of a few gates alone would weigh takes by chance.
const weightOctaves = 1

// gatedWeights are [take][grid point], of sum 1 over the takes.
func gatedWeights(takes []*Gated) [][]float64 {
	n := len(takes[0].H)
	weights := make([][]float64, len(takes))
	for t := range takes {
		weights[t] = make([]float64, n)
	}
	half := weightOctaves * pointsPerOctave / 2
	std := make([]float64, len(takes))
	for i := range n {
		lo, hi := max(0, i-half), min(n, i+half+1)
		for t, g := range takes {
			power := 0.0
			for j := lo; j < hi; j++ {
				// The noise of a response rises as f: level that first.
				power += sq(g.Noise[j]) / g.FrequencyHz[j]
			}
			std[t] = math.Sqrt(power)
		}
		w, _ := inverseVariance(std)
		for t := range takes {
			weights[t][i] = w[t]
		}
	}
	return weights
}

// linedUp turns the phase of all takes to the first one's time and returns
// the arrival that belongs to their mean.
func linedUp(takes []*Gated, weights [][]float64) ([]*Gated, float64, error) {
	first := takes[0]
	at := NearestIndex(first.FrequencyHz, gridReferenceHz)
	out, arrival := []*Gated{first}, first.ArrivalS
	for t, g := range takes[1:] {
		var points []phasePoint
		for i, h := range g.H {
			if first.H[i] != 0 {
				points = append(points, phasePoint{f: g.FrequencyHz[i], z: h / first.H[i], weight: 1, std: g.RelStd(i)})
			}
		}
		line, err := fitDelay(points)
		if err != nil {
			return nil, 0, err
		}
		out = append(out, g.later(-line.delayS))
		arrival += weights[t+1][at] * (g.ArrivalS + line.delayS - first.ArrivalS)
	}
	return out, arrival, nil
}

// later is g delayed by seconds, in its phase.
func (g *Gated) later(seconds float64) *Gated {
	out := &Gated{FrequencyHz: g.FrequencyHz, H: make([]complex128, len(g.H)), Noise: g.Noise, ArrivalS: g.ArrivalS, noise: make([][]complex128, len(g.H)), disturbed: g.disturbed, long: g.long, ripple: g.ripple, reference: g.reference, pairs: g.pairs, changes: g.changes, untold: g.untold, note: g.note}
	if at := g.at; at != nil {
		out.at = func(hz float64) complex128 { return at(hz) * cis(-2*math.Pi*hz*seconds) }
	}
	if g.fine != nil {
		out.fine = g.fine.later(seconds)
	}
	for i, f := range g.FrequencyHz {
		turn := cis(-2 * math.Pi * f * seconds)
		out.H[i] = g.H[i] * turn
		for _, n := range g.noise[i] {
			out.noise[i] = append(out.noise[i], n*turn)
		}
	}
	return out
}

// widen multiplies the noise of g.
func (g *Gated) widen(factor float64) {
	if factor == 1 {
		return
	}
	for _, row := range g.noise {
		for j := range row {
			row[j] = scale(factor, row[j])
		}
	}
	g.Noise = g.smoothNoise()
}

// scatterAllowed is the mean square of the scatter, in standard
// uncertainties, up to which it counts as noise: over hundreds of frequencies
// noise alone does not reach it.
const scatterAllowed = 1.5

// scatterBeyond is the Birge ratio of takes about their mean, over the band.
func scatterBeyond(takes []*Gated, mean *Gated) float64 {
	sum, n := 0.0, 0.0
	for i, f := range mean.FrequencyHz {
		if f < DefaultBand.LowHz || f > DefaultBand.HighHz {
			continue
		}
		for _, g := range takes {
			sum += sqAbs(g.H[i]-mean.H[i]) / sq(g.Noise[i])
		}
		n++
	}
	return birge(sum, n*float64(len(takes)-1), scatterAllowed)
}

// coarse is g without its fine grid, which is large and tells takes no better
// apart.
func (g *Gated) coarse() *Gated {
	c := *g
	c.fine = nil
	return &c
}

// apart is how far g is from the mean of others.
func (g *Gated) apart(others []*Gated) (chi2, db float64, err error) {
	mean, err := averageGated(others, true)
	if err != nil {
		return 0, 0, err
	}
	pair := []*Gated{mean, g}
	if pair, _, err = linedUp(pair, gatedWeights(pair)); err != nil {
		return 0, 0, err
	}
	chi2, db = apart(pair[0], pair[1])
	return chi2, db, nil
}

// apart is the mean square of the difference in standard uncertainties, and
// its RMS in dB.
func apart(a, b *Gated) (chi2, db float64) {
	n, relative := 0.0, 0.0
	for i, f := range a.FrequencyHz {
		if f < DefaultBand.LowHz || f > DefaultBand.HighHz {
			continue
		}
		d := sqAbs(a.H[i] - b.H[i])
		chi2 += d / (sq(a.Noise[i]) + sq(b.Noise[i]))
		relative += d / sq(cmplx.Abs(a.H[i]))
		n++
	}
	return chi2 / n, DBFromRelative(math.Sqrt(relative / n))
}

// noiseDB is how loud the noise beside a response is, over the band that
// delays are found in.
func (g *Gated) noiseDB() float64 {
	sum, n := 0.0, 0.0
	for i, f := range g.FrequencyHz {
		if f >= delayLowHz && f <= delayHighHz {
			sum += DB(g.Noise[i])
			n++
		}
	}
	return sum / n
}
