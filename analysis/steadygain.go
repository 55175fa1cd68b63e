package analysis

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// longestScale is the longest mean, in looks, through which a change is sought:
	// a second, in which the sweep has gone three octaves.
	longestScale = 64
	// unseenScale is how long, in looks, a change must last for the uncertainty to
	// hold it whether it stands out or not: a quarter of a second, half an octave.
	unseenScale = 16
	// fastestSwingHz is the fastest tremolo that is sought: common practice, no source.
	fastestSwingHz = 12.0
	// hintSigmas is from where on a change counts in the uncertainty that does not
	// stand out for certain; chance makes one of a few hundred looks do so.
	hintSigmas = 3.0
	// swingSigmas is likewise of a swing, which counts at all moments: the largest of a
	// hundred Rayleigh variates is so in one take of thirty.
	swingSigmas = 4.0
)

// change is a change of gain with time that stands out of the noise; beyond is how
// much of it the board's curvature does not explain.
type change struct{ relative, beyond, atS float64 }

// averagedOver is the mean of n looks from m on, and its variance; infinite where
// nothing was seen.
func (t *track) averagedOver(m, n int) (departure, variance float64) {
	weight, sum, alike := 0.0, 0.0, 0.0
	for i := m; i < m+n; i++ {
		w := 1 / t.variance[i]
		weight, sum, alike = weight+w, sum+w*t.departure[i], alike+w*t.alike[i]
	}
	if weight == 0 {
		return 0, math.Inf(1)
	}
	return sum / weight, math.Min(float64(n), alike/weight) / weight
}

// limit is how many standard deviations noise alone passes once in 1/falseAlarms
// takes, over all moments and scales (Bonferroni).
func (t *track) limit() float64 {
	count := 0.0
	for n := 1; n <= longestScale; n *= 2 {
		count += 2 * float64(len(t.atS)) / float64(n)
	}
	return distuv.UnitNormal.Quantile(1 - falseAlarms/count/2)
}

// read returns, look by look, the changes of gain that are seen, relative, and the
// standard deviation of those that are not, short ones of a quarter of a second and long
// ones of a second, and the largest change that stands out. A short one is no more
// certain than if all moments were like the one in its middle: where the pilots are
// blind it would hide behind its neighbours.
func (t *track) read() (seen, short, long []float64, worst change) {
	seen = make([]float64, len(t.atS))
	limit := t.limit()
	for n := 1; n <= longestScale; n *= 2 {
		for m := 0; m+n <= len(t.atS); m += max(1, n/4) {
			departure, variance := t.averagedOver(m, n)
			size, sigma := math.Abs(departure), math.Sqrt(variance)
			for i := m; i < m+n && size > hintSigmas*sigma; i++ {
				seen[i] = math.Max(seen[i], size)
			}
			if beyond := size - t.curved; beyond > limit*sigma && beyond > worst.beyond {
				worst = change{departure, beyond, t.atS[m] + float64(n-1)/2*lookStepS}
			}
		}
	}
	swing, sigma := t.swing()
	for i := range seen {
		if swing > swingSigmas*sigma {
			seen[i] = math.Max(seen[i], swing)
		}
	}
	if beyond := swing - t.curved; beyond > limit*sigma && beyond > worst.beyond {
		worst = change{swing, beyond, t.atS[len(t.atS)-1] / 2}
	}
	short, long = t.unseen(unseenScale), t.unseen(longestScale)
	for m, own := range t.variance {
		short[m] = math.Max(short[m], math.Sqrt(own*math.Min(1, t.alike[m]/unseenScale)))
	}
	return seen, short, long, worst
}

// unseen is the standard deviation of the mean over n looks around each.
func (t *track) unseen(n int) []float64 {
	std := make([]float64, len(t.atS))
	for m := range std {
		from := max(0, min(m-n/2, len(std)-n))
		_, variance := t.averagedOver(from, min(n, len(std)-from))
		std[m] = math.Sqrt(variance)
	}
	return std
}

// swing is the largest sinusoidal swing of the gain over the whole sweep, from one
// period to fastestSwingHz, and its standard deviation: a tremolo too weak to show
// at one moment. The frequencies are half of 1/length apart; they are no more looks
// than there are moments.
func (t *track) swing() (amplitude, sigma float64) {
	_, variance := t.averagedOver(0, len(t.atS))
	lengthS := t.atS[len(t.atS)-1] - t.atS[0]
	if lengthS <= 0 || math.IsInf(variance, 1) {
		return 0, math.Inf(1)
	}
	mean, _ := t.averagedOver(0, len(t.atS))
	for hz := 1 / lengthS; hz < fastestSwingHz; hz += 0.5 / lengthS {
		var sum complex128
		weight := 0.0
		for m, d := range t.departure {
			w := 1 / t.variance[m]
			sum += scale(w*(d-mean), cis(2*math.Pi*hz*t.atS[m]))
			weight += w
		}
		amplitude = math.Max(amplitude, 2*cmplx.Abs(sum)/weight)
	}
	return amplitude, math.Sqrt(2 * variance)
}

// addChanges adds to g what its gain may have done while the sweep ran, and returns
// why it is refused where that is too much.
func (r *Raw) addChanges(g *Gated, t *track) string {
	seen, short, long, worst := t.read()
	if DBFromRelative(worst.beyond) > ltiAllowanceDB {
		if jumpS, ok := jumpNear(t.pilots, worst.atS); ok {
			return samplesLost(jumpS)
		}
		return notLTI("the gain changes by %+.2f dB %.1f s into the sweep, while it passes %.0f Hz, as the pilot tones show: a drop-out, or a peak that clips",
			DB(math.Max(1e-3, 1+worst.relative)), worst.atS, sweptHz(t.spec, worst.atS))
	}
	g.changes = make([]float64, len(g.H))
	off, beside := g.offPhase(), r.besidePilots(g)
	for i, f := range g.FrequencyHz {
		// The pilots are not read while they come and go: what was last seen stands.
		at := math.Min(math.Max(sweepTime(t.spec, f), t.atS[0]), t.atS[len(t.atS)-1])
		// Where the gain does change, the median may lie on either side of it.
		most, brief, lasting := math.Abs(worst.relative), 0.0, 0.0
		for m, s := range t.atS {
			if math.Abs(s-at) < 1.5*lookStepS*t.alike[m] {
				most, brief, lasting = math.Max(most, seen[m]), math.Max(brief, short[m]), math.Max(lasting, long[m])
			}
		}
		// What is too short for the pilots' noise the phase may tell.
		g.changes[i] = Hypot(most, math.Min(brief, off[i]), lasting, beside)
	}
	if worst.relative != 0 {
		g.note = fmt.Sprintf(noteGainChanges, DBFromRelative(math.Abs(worst.relative)))
	}
	return ""
}

// besidePilots is what the pilots themselves leave in the response, relative: on a
// curved board each makes a copy of the sweep beside it, which may fall into the gate,
// 2·h2 times as strong as the pilot where the second harmonic is h2 of the sweep (b·x²:
// b·A·a against b·A²/2).
func (r *Raw) besidePilots(g *Gated) float64 {
	return 2 * r.strongestHarmonic(g, 2) * math.Pow(10, -r.played.sig.PilotBelowDB/20)
}
