package analysis

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A sweep alone cannot tell a change of gain in time from the board's response by its
// magnitude: it is at one frequency at a time. But a change of gain turns no phase, and
// a board does: its magnitude follows from its phase (Bode's relation, closed form). Where
// no pilot tone tells, what is left open is how far the curve stands out of what its
// phase makes of it. What all-passes and delays turn counts as open too.
const (
	// trendOctaves each side of a point make the trend of the difference, which holds
	// what phase outside the band does: a change that lasts for less than as many
	// octaves, 0.7 s of a 5 s sweep, stands out.
	trendOctaves = 2
	// opinionOctaves is how wide a band is in which impulses are held against the
	// sweep to tell.
	opinionOctaves = 1.0 / 3
	// bodeStd is how well Bode's relation is made out from a band with ends, relative,
	// where there is no noise: seen against first and second-order sections.
	bodeStd = 1e-3
)

const (
	noteNoPilots    = "a sweep without pilot tones: a level that changed meanwhile would look like a response, which is in the uncertainty; a sweep made today tells"
	notePilotsLost  = "no pilot tone comes through: a level that changed during the sweep would look like a response, which is in the uncertainty"
	noteByImpulses  = "a sweep without pilot tones: that its level did not change meanwhile, the impulses tell within the uncertainty"
	noteGainChanges = "the gain changes by %.3f dB during the sweep, which is in the uncertainty"
)

// leaveOpen adds to g what a change in time could have done to it: at most what
// its phase does not tell, and no more than the impulses differ, where there are
// some. marks is how much louder the marks after it are than those before, in dB.
func (r *Raw) leaveOpen(g *Gated, imp *ImpulseResponse, marks Estimate) {
	var opinions []opinion
	g.note = noteNoPilots
	if r.played.sig.PilotBelowDB != 0 {
		g.note = notePilotsLost
	}
	if imp != nil {
		g.note, opinions = noteByImpulses, againstSweep(g, imp)
	}
	g.changes, g.untold = g.offPhase(), true
	for i, f := range g.FrequencyHz {
		if told := toldAround(opinions, f); !math.IsNaN(told) {
			g.changes[i] = math.Min(g.changes[i], told)
		}
		g.changes[i] = Hypot(g.changes[i], Hypot(marks.Value, marks.Std)/DBFromRelative(1))
	}
}

// toldAround is the most, relative, by which impulses differ from the sweep, with their
// uncertainty, in the bands that hold f; NaN where they do not tell.
func toldAround(opinions []opinion, f float64) float64 {
	most := 0.0
	for _, shift := range []float64{-opinionOctaves / 2, 0, opinionOctaves / 2} {
		mid := f * math.Exp2(shift)
		band := bandGain(opinions, mid*math.Exp2(-opinionOctaves/2), mid*math.Exp2(opinionOctaves/2))
		most = math.Max(most, Hypot(band.Value, band.Std)/DBFromRelative(1))
	}
	return most
}

// changesBetween is what of the ratio a over b may be a change in time. Where no pilot
// tone told, it is no more than what of the ratio stands out: what changed alike at both
// outputs is not in it.
func (g *Gated) changesBetween(a, b *Gated) {
	if a.untold || b.untold {
		g.untold, g.changes = true, g.offPhase()
	} else {
		g.changes = make([]float64, len(g.H))
	}
	for i := range g.changes {
		both := Hypot(a.changesRelStd(i), b.changesRelStd(i))
		if !g.untold || both < g.changes[i] {
			g.changes[i] = both
		}
	}
}

// offPhase is how far ln|H| stands out of what its phase makes of it, less the running
// median: around each point the root mean square over opinionOctaves, less what the noise
// of both makes of it, as far as so many points can tell.
func (g *Gated) offPhase() []float64 {
	level := make([]float64, len(g.H))
	for i, l := range bodeLevel(g.FrequencyHz, g.phaseWithoutDelay()) {
		level[i] = math.Log(math.Max(cmplx.Abs(g.H[i]), 1e-300)) - l
	}
	level = g.withoutEnds(level)
	off, noise := make([]float64, len(level)), make([]float64, len(level))
	for i := range level {
		from, to := max(0, i-trendOctaves*pointsPerOctave), min(len(level), i+trendOctaves*pointsPerOctave+1)
		off[i], noise[i] = sq(level[i]-medianOf(level[from:to])), 2*sq(g.noiseRelStd(i))
	}
	const around = opinionOctaves * pointsPerOctave / 2
	out := make([]float64, len(off))
	for i := range off {
		from, to := max(0, i-around), min(len(off), i+around+1)
		seen, chance := stat.Mean(off[from:to], nil), stat.Mean(noise[from:to], nil)
		// The mean square of n Gaussian variates scatters by √(2/n).
		out[i] = math.Sqrt(math.Max(0, seen-chance) + chance*math.Sqrt(2/float64(to-from)))
	}
	return out
}

// withoutEnds is y less what the phase does not tell of it: a constant, how much of
// a straight phase was delay, and what the phase below the band does, which falls as
// the square of the frequency. Of each goes what leaves least.
func (g *Gated) withoutEnds(y []float64) []float64 {
	linear := make([]float64, len(y))
	for i, f := range g.FrequencyHz {
		linear[i] = f / gridReferenceHz
	}
	shapes, weighed := mat.NewDense(len(y), 3, nil), mat.NewDense(len(y), 3, nil)
	level := mat.NewVecDense(len(y), nil)
	for i, delay := range bodeLevel(g.FrequencyHz, linear) {
		w := 1 / Hypot(g.smoothRelStd(i), bodeStd)
		low := sq(g.FrequencyHz[0] / g.FrequencyHz[i])
		shapes.SetRow(i, []float64{1, delay, low})
		weighed.SetRow(i, []float64{w, w * delay, w * low})
		level.SetVec(i, w*y[i])
	}
	var fit, made mat.VecDense
	if err := fit.SolveVec(weighed, level); err != nil {
		return y
	}
	made.MulVec(shapes, &fit)
	out := make([]float64, len(y))
	for i := range y {
		out[i] = y[i] - made.AtVec(i)
	}
	return out
}

// phaseWithoutDelay is the phase in radians without delay and polarity.
func (g *Gated) phaseWithoutDelay() []float64 {
	line, err := fitDelay(g.phasePoints())
	if err != nil {
		line.polarity = 1
	}
	phase := make([]float64, len(g.H))
	for i, h := range g.H {
		phase[i] = cmplx.Phase(scale(float64(line.polarity), h*cis(2*math.Pi*g.FrequencyHz[i]*line.delayS)))
	}
	unwrap(phase)
	at := NearestIndex(g.FrequencyHz, gridReferenceHz)
	turns := 2 * math.Pi * math.Round(phase[at]/(2*math.Pi))
	for i := range phase {
		phase[i] -= turns
	}
	return phase
}

// bodeLevel is ln|H|, but for a constant, of a minimum-phase response with this phase
// on a logarithmic grid: −(1/π)·∫phase(u)·coth(u−u0) du over u = ln f (Bode, 1945; the
// form is from memory, the tests hold it against closed forms). The principal value
// is taken over every second point; beyond the ends the phase is taken to stay, for
// three octaves, after which coth is 1 within 4 %.
func bodeLevel(hz, phase []float64) []float64 {
	const beyond = 3 * pointsPerOctave
	n := len(hz)
	step := math.Log(hz[n-1]/hz[0]) / float64(n-1)
	coth := make([]float64, n+beyond)
	for d := 1; d < len(coth); d++ {
		coth[d] = 1 / math.Tanh(float64(d)*step)
	}
	level := make([]float64, n)
	for i := range level {
		sum := 0.0
		for d := 1; d < len(coth); d += 2 {
			low, high := max(i-d, 0), min(i+d, n-1)
			if i-d >= -beyond {
				sum -= coth[d] * phase[low]
			}
			if i+d < n+beyond {
				sum += coth[d] * phase[high]
			}
		}
		level[i] = -2 * step * sum / math.Pi
	}
	return level
}
