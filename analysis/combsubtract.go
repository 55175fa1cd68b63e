package analysis

import (
	"errors"
	"fmt"
	"math"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mat"
)

// How far the mains wanders from a steady drift, as the density of a random
// walk of its frequency, Hz²/s: about 1 mHz in a second (common practice, no
// source).
const mainsWander = 1e-6

// FitMainsAround fits the mains comb, to its 40th harmonic, in the quiet
// spans of x, so that it can be taken off what lies between them. x is in any
// unit, quiet in frames of x, in order and not overlapping; nominalHz is 50
// or 60, or 0 if that is not known. Where no comb stands out, or its phase
// cannot be carried from one span to the next, Found is false and Subtract
// does nothing.
//
// A harmonic is taken off by the share that makes what is left least: less
// than all where noise makes its amplitude uncertain (1 − 1/power over noise)
// or the gap its phase (e^(−σ²/2), the mean cosine of the phase error).
func FitMainsAround(x []float64, rateHz float64, quiet []testsignals.Span, nominalHz float64) (*Comb, error) {
	nominals, err := mainsNominals(nominalHz)
	if err == nil {
		err = checkSpans(len(x), rateHz, quiet)
	}
	if err == nil {
		err = checkFinite(x)
	}
	if err != nil {
		return nil, fmt.Errorf("fitting mains lines around a signal: %w", err)
	}
	y, varies := withoutMean(x, 1, quiet)
	if !varies {
		return &Comb{Reason: "nothing but one constant value"}, nil
	}
	c := findComb(y, quiet, rateHz, nominals, nil)
	if !c.Found {
		return c, nil
	}
	f := newFolder(quiet, 1, searchHarmonics, exactRing)
	c.Amplitudes = make([]complex128, searchHarmonics+1)
	f.solve(c.Amplitudes, y, &c.phase, solveShare, nil)
	f.addTo(y, quiet, c.Amplitudes, &c.phase, -1)
	d := welch(y, quiet, rateHz, welchLength(quiet, rateHz))
	floor := newSpectrumFloor(d.psd, d.binHz, d.averages, 12, 100)
	c.gain, c.left = make([]float64, len(c.Amplitudes)), make([]float64, len(c.Amplitudes))
	phaseVar := c.worstPhaseVariance(quiet, rateHz)
	for h := 1; h < len(c.gain); h++ {
		noise := floor.at(float64(h)*c.FrequencyHz.Value) * rateHz / 2
		ofNoise := 4 * noise / float64(f.frames())
		power := abs2(c.Amplitudes[h]) / ofNoise
		steady := math.Exp(-phaseVar * float64(h*h) / 2)
		if power > standsOutPower && !c.strangers[h] {
			c.gain[h] = (1 - 1/power) * steady
		}
		g := c.gain[h]
		c.left[h] = math.Max(0, power-1)*ofNoise*(1-2*g*steady+g*g) + g*g*ofNoise
	}
	return c, nil
}

// worstPhaseVariance is the largest variance of the fundamental's phase, in
// radians², between the spans: what the fit leaves open, and what the mains
// may do unseen in the widest gap, which a cubic through both its ends errs
// by (G³/192 of the walk's density, in the middle).
func (c *Comb) worstPhaseVariance(spans []testsignals.Span, rateHz float64) float64 {
	gapS := 0.0
	for i := 1; i < len(spans); i++ {
		gapS = math.Max(gapS, float64(spans[i].Start-spans[i-1].End)/rateHz)
	}
	worst := 0.0
	mean := spanMoments(spans, 1, &c.phase, c.order)
	for u := -1.0; u <= 1; u += 0.05 {
		g := mat.NewVecDense(c.order, nil)
		for p := 1; p <= c.order; p++ {
			g.SetVec(p-1, math.Pow(u, float64(p))-mean[p])
		}
		worst = math.Max(worst, mat.Inner(g, c.cov, g))
	}
	return 4 * math.Pi * math.Pi * (worst + mainsWander*gapS*gapS*gapS/192)
}

// beside is the standard uncertainty that what is left of the comb's nearest line
// gives to the amplitude of a tone that is fitted over so many seconds: all of
// it on the line, and less the further away, as a fit without a window sees it.
func (c *Comb) beside(hz, seconds float64) float64 {
	if !c.Found || c.left == nil {
		return 0
	}
	h := int(math.Round(hz / c.FrequencyHz.Value))
	if h < 1 || h >= len(c.left) {
		return 0
	}
	return math.Sqrt(c.left[h]/2) * math.Abs(sincPi((hz-float64(h)*c.FrequencyHz.Value)*seconds))
}

// Subtract takes off x the harmonics that were found, between the first and
// the last of the spans that they were fitted in. x is the record that the
// comb was fitted to.
func (c *Comb) Subtract(x []float64) { c.addTo(x, 0, -1) }

// restore undoes Subtract.
func (c *Comb) restore(x []float64) { c.addTo(x, 0, 1) }

// addTo adds sign times the harmonics to x, which begins at frame from of the
// record.
func (c *Comb) addTo(x []float64, from int, sign float64) {
	if !c.Found {
		return
	}
	amps := make([]complex128, len(c.Amplitudes))
	for h := range amps {
		amps[h] = c.Amplitudes[h] * complex(c.gain[h], 0)
	}
	within, phase := c.extent.Shift(-from), c.phase
	within.Start, within.End = max(0, within.Start), min(within.End, len(x))
	phase.centre -= float64(from)
	newFolder(nil, 1, len(amps)-1, exactRing).addTo(x, []testsignals.Span{within}, amps, &phase, sign)
}

func mainsNominals(nominalHz float64) ([]float64, error) {
	switch nominalHz {
	case 0:
		return []float64{50, 60}, nil
	case 50, 60:
		return []float64{nominalHz}, nil
	}
	return nil, fmt.Errorf("nominal mains frequency %g Hz is not 50, 60, or 0 for unknown", nominalHz)
}

func checkSpans(frames int, rateHz float64, spans []testsignals.Span) error {
	if !(rateHz >= 8000) || math.IsInf(rateHz, 1) {
		return fmt.Errorf("rate %g Hz is not at least 8000 Hz", rateHz)
	}
	if len(spans) == 0 {
		return errors.New("no quiet span was given")
	}
	end := 0
	for _, s := range spans {
		if s.Start < end || s.End <= s.Start || s.End > frames {
			return fmt.Errorf("span of frames %d to %d is empty, out of order or outside the record of %d", s.Start, s.End, frames)
		}
		end = s.End
	}
	return nil
}

func checkFinite(x []float64) error {
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("sample %d is not a finite number", i)
		}
	}
	return nil
}

// withoutMean returns scale times a copy of x less its mean over the spans, and
// whether it is anything but one value there.
func withoutMean(x []float64, scale float64, spans []testsignals.Span) (y []float64, varies bool) {
	sum, n, first := 0.0, 0, x[spans[0].Start]
	for _, s := range spans {
		for _, v := range x[s.Start:s.End] {
			sum += v
			varies = varies || v != first
		}
		n += s.Len()
	}
	y = make([]float64, len(x))
	for i, v := range x {
		y[i] = scale * (v - sum/float64(n))
	}
	return y, varies
}
