package analysis

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/stat"

	"boardproof/testsignals"
)

// pilotTrack reads how the gain went through the sweep from its pilot tones: each
// moment from all pilots that see it, weighed by the noise beside them and by what
// a harmonic that passes can do there. nil where there are none, or none came back.
func (r *Raw) pilotTrack(g *Gated) *track {
	spec := r.played.sig.Spec
	if spec.PilotBelowDB == 0 {
		return nil
	}
	line, err := fitDelay(g.phasePoints())
	if err != nil {
		line.delayS = 0
	}
	all := looks(spec)
	var seen []track
	for _, f := range testsignals.PilotsHz {
		if t, ok := r.onePilot(g, f, line.delayS, all); ok {
			seen = append(seen, t)
		}
	}
	if len(seen) == 0 {
		return nil
	}
	t := combined(seen).whileSeen()
	t.pilots = seen
	if len(t.atS) == 0 {
		return nil
	}
	// What a board's curvature can make of a pilot's gain from one moment to another.
	t.curved = curvedGain * math.Min(curvedMost, r.strongestHarmonic(g, 3))
	return &t
}

// onePilot is the track of one pilot on a board that is late by lateS; ok is false
// where it was not there. It is blind while the sweep passes and until the board is quiet
// again: till then a change in time may pass for ringing.
func (r *Raw) onePilot(g *Gated, f, lateS float64, all []look) (t track, ok bool) {
	spec := r.played.sig.Spec
	band, ok := r.pilotBand(f)
	if !ok {
		return t, false
	}
	band.startS -= lateS
	passedS := sweepTime(spec, f) - lateS
	level, noise := make([]complex128, len(all)), make([]float64, len(all))
	density := make([][]float64, len(all))
	var reals, imags []float64
	for m, l := range all {
		level[m], noise[m] = band.through(band.foretold, l, 0)
		t.alike = append(t.alike, math.Max(1, 1/(noise[m]*band.rateHz*lookStepS)))
		density[m] = band.beside(spec, f, l)
		if l.within(passedS+shortGate.from, passedS+band.endS) {
			noise[m] = math.Inf(1)
		} else {
			reals, imags = append(reals, real(level[m])), append(imags, imag(level[m]))
		}
	}
	if len(reals) == 0 {
		return t, false
	}
	ref := cmplx.Abs(complex(medianOf(reals), medianOf(imags)))
	typical := typicalDensity(density)
	harmonic := r.harmonicsAt(g, f)
	t.spec = spec
	for m, l := range all {
		// While it fades there is less of it, and where more is heard that is the sweep.
		at := cmplx.Abs(level[m])
		if !(at >= ref/2 && at <= 2*ref) {
			noise[m] = math.Inf(1)
		}
		rest, _ := band.through(band.rest, l, 0)
		variance := noise[m] * math.Max(typical, densityAround(density, m)) / 2 / sq(at)
		for n := 2; n <= pilotHarmonics; n++ {
			if l.crosses(spec, n, f, l.halfHz) {
				variance += sq(harmonic[n])
			}
		}
		if math.IsInf(noise[m], 1) {
			variance = math.Inf(1)
		}
		t.atS = append(t.atS, l.atS)
		// A clock that drifts turns a pilot and leaves its level.
		t.heard = append(t.heard, 1+rest/level[m])
		t.departure = append(t.departure, cmplx.Abs(t.heard[m])-1)
		t.variance = append(t.variance, variance)
	}
	t.fromMedian()
	return t, pilotIsThere(t)
}

// whileSeen is t from the first moment at which something is seen to the last.
func (t track) whileSeen() track {
	blind := func(variance float64) bool { return math.IsInf(variance, 1) }
	from, to := 0, len(t.atS)
	for from < to && blind(t.variance[from]) {
		from++
	}
	for to > from && blind(t.variance[to-1]) {
		to--
	}
	t.atS, t.departure, t.variance, t.alike = t.atS[from:to], t.departure[from:to], t.variance[from:to], t.alike[from:to]
	return t
}

// fromMedian makes the departures those from their median, where something is seen.
func (t *track) fromMedian() {
	var seen []float64
	for m, d := range t.departure {
		if !math.IsInf(t.variance[m], 1) {
			seen = append(seen, d)
		}
	}
	if len(seen) == 0 {
		return
	}
	middle := medianOf(seen)
	for m := range t.departure {
		t.departure[m] -= middle
	}
}

// pilotIsThere is false where a pilot is not twice its noise at the typical moment.
func pilotIsThere(t track) bool { return medianOf(append([]float64(nil), t.variance...)) < 0.25 }

// beside is the density of the noise around a pilot at f at one moment, from where
// the sweep is not.
func (b pilotBand) beside(spec testsignals.Spec, f float64, l look) []float64 {
	var density []float64
	for _, lobes := range besideLobes {
		off := lobes * l.halfHz
		if l.crosses(spec, 1, f+off, l.halfHz) {
			density = append(density, math.NaN())
			continue
		}
		z, noise := b.through(b.rest, l, off)
		density = append(density, sqAbs(z)/noise)
	}
	return density
}

// typicalDensity is the mean over the places beside a pilot of the median over the
// moments: the power of Gaussian noise is exponentially distributed, its median ln 2
// of its mean.
func typicalDensity(density [][]float64) float64 {
	sum, places := 0.0, 0.0
	for p := range besideLobes {
		var v []float64
		for _, d := range density {
			if !math.IsNaN(d[p]) {
				v = append(v, d[p])
			}
		}
		if len(v) > 0 {
			sum, places = sum+medianOf(v)/math.Ln2, places+1
		}
	}
	return sum / math.Max(1, places)
}

// densityAround is the mean density within a sixth of a second of moment m: noise
// need not be as loud at all times.
func densityAround(density [][]float64, m int) float64 {
	const around = 10
	var v []float64
	for _, d := range density[max(0, m-around):min(len(density), m+around+1)] {
		for _, x := range d {
			if !math.IsNaN(x) {
				v = append(v, x)
			}
		}
	}
	if len(v) == 0 {
		return 0
	}
	return stat.Mean(v, nil)
}

// harmonicsAt is, by order, what a harmonic of the sweep that passes f amounts to
// beside the pilot there, relative.
func (r *Raw) harmonicsAt(g *Gated, f float64) []float64 {
	h, _ := g.interpolate(f)
	pilot := cmplx.Abs(h) * math.Pow(10, -r.played.sig.PilotBelowDB/20)
	out := make([]float64, pilotHarmonics+1)
	for n := 2; n <= pilotHarmonics; n++ {
		z := r.through(harmonicGate, f, math.Min(reachShare*f, harmonicReachHz), []float64{-r.harmonicLeadS(n)})
		out[n] = cmplx.Abs(z[0]) / pilot
	}
	return out
}

// strongestHarmonic is the most that the board makes of harmonic n of the sweep, over
// the gain at the sweep or at the harmonic, whichever is less: what the board does
// after the curve weakens the one, what it does before it the other. It is sought
// where the board passes at least a tenth of what it passes where it passes most.
func (r *Raw) strongestHarmonic(g *Gated, n int) float64 {
	top, strongest := g.FrequencyHz[len(g.FrequencyHz)-1], 0.0
	for _, h := range g.H {
		strongest = math.Max(strongest, cmplx.Abs(h))
	}
	var power []float64
	for i, f := range g.FrequencyHz {
		fn := float64(n) * f
		if fn > top {
			break
		}
		reach := math.Min(reachShare*fn, harmonicReachHz)
		z := r.through(harmonicGate, fn, reach, append([]float64{-r.harmonicLeadS(n)}, spread(r.quietShifts(harmonicGate, reach), 4)...))
		before, after := cmplx.Abs(g.H[i]), cmplx.Abs(g.H[NearestIndex(g.FrequencyHz, fn)])
		if before < strongest/10 || after == 0 {
			power = append(power, 0)
			continue
		}
		noise := sq(rms(z[1:]))
		level := sqAbs(z[0]) - noise
		if level > echoSigmas*noise {
			before = math.Min(before, after)
		}
		power = append(power, level/sq(before))
	}
	// Over a third of an octave chance makes little of the noise.
	most := 0.0
	for i := 0; i+pointsPerOctave/3 <= len(power); i++ {
		most = math.Max(most, stat.Mean(power[i:i+pointsPerOctave/3], nil))
	}
	return math.Sqrt(most)
}

// combined is the mean of several pilots' tracks, weighed by their variances. Where
// they disagree by more than these explain, its variance grows by what they do
// (Birge, Phys. Rev. 40, 1932; from memory): a change of gain is in all of them.
func combined(seen []track) track {
	out := track{spec: seen[0].spec, atS: seen[0].atS, alike: seen[0].alike}
	for m := range out.atS {
		weight, sum, n := 0.0, 0.0, 0
		for _, t := range seen {
			if w := 1 / t.variance[m]; w > 0 {
				weight, sum, n = weight+w, sum+w*t.departure[m], n+1
			}
		}
		if weight == 0 {
			out.departure, out.variance = append(out.departure, 0), append(out.variance, math.Inf(1))
			continue
		}
		mean, chi2 := sum/weight, 0.0
		for _, t := range seen {
			if w := 1 / t.variance[m]; w > 0 {
				chi2 += w * sq(t.departure[m]-mean)
			}
		}
		out.departure = append(out.departure, mean)
		out.variance = append(out.variance, math.Max(1, chi2/math.Max(1, float64(n-1)))/weight)
	}
	return out
}
