package analysis

import (
	"errors"
	"fmt"
	"math"

	"boardproof/testsignals"
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
	c := findComb(y, quiet, rateHz, nominals, true, nil)
	if c.Found {
		c.fitGains(y, rateHz, quiet)
	}
	return c, nil
}

// fitGains fits the amplitudes in the quiet spans, and by how much of each makes least
// what is left between them.
func (c *Comb) fitGains(y []float64, rateHz float64, quiet []testsignals.Span) {
	f, frames := newFolder(1, searchHarmonics, exactRing), 0.0
	c.Amplitudes = make([]complex128, searchHarmonics+1)
	for range amplitudeSteps {
		more := make([]complex128, len(c.Amplitudes))
		frames = 0
		for _, s := range quiet {
			for h, z := range f.sums(y, s, &c.phase) {
				more[h] += z
			}
			frames += float64(s.Len())
		}
		for h := 1; h < len(more); h++ {
			more[h] *= complex(2/frames, 0)
			c.Amplitudes[h] += more[h]
		}
		more[0] = 0
		for _, s := range quiet {
			f.addTo(y, s, more, &c.phase, -1)
		}
	}
	d := welch(y, quiet, rateHz, welchLength(quiet, rateHz))
	floor := newSpectrumFloor(d.psd, d.binHz, d.averages, 12, 100)
	c.gain, c.left = make([]float64, len(c.Amplitudes)), make([]float64, len(c.Amplitudes))
	for h := 1; h < len(c.gain); h++ {
		noise := math.Max(floor.at(float64(h)*c.FrequencyHz.Value), c.noise[h]) * rateHz / 2
		ofNoise := 4 * noise / frames
		power := sqAbs(c.Amplitudes[h]) / ofNoise
		steady := math.Exp(-sq(2*math.Pi*float64(h)) * c.phaseVar / 2)
		if power > standsOutPower && !c.fit.strays(h) {
			c.gain[h] = (1 - 1/power) * steady
		}
		g := c.gain[h]
		c.left[h] = math.Max(0, power-1)*ofNoise*(1-2*g*steady+g*g) + g*g*ofNoise
	}
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
	return math.Sqrt(c.left[h]/2) * math.Abs(testsignals.Sinc((hz-float64(h)*c.FrequencyHz.Value)*seconds))
}

// Subtract takes off x the harmonics that were found, between the first and
// the last of the spans that they were fitted in. x is the record that the
// comb was fitted to.
func (c *Comb) Subtract(x []float64) { c.addTo(x, 0, -1) }

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
	phase.firstFrame -= float64(from)
	newFolder(1, len(amps)-1, exactRing).addTo(x, within, amps, &phase, sign)
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
