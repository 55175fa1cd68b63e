package calibration

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"boardproof/analysis"
)

// edgeS is left out at each end of a tone, for its ramps and for settling.
const edgeS = 0.15

// body returns row of a recorded tone without its ends.
func body(rec *analysis.Recording, row int) ([]float64, error) {
	at := rec.Signal.Body.Shift(int(rec.OffsetFrames + 0.5))
	edge := int(edgeS * rec.RateHz)
	at.Start, at.End = at.Start+edge, at.End-edge
	if at.Start < 0 || at.End > len(rec.Samples[row]) || at.Len() < 64 {
		return nil, errors.New("the recording does not hold the whole signal")
	}
	return rec.Samples[row][at.Start:at.End], nil
}

// loopbackGains are the gains of each row in dB, recorded over played in full
// scales, from a tone. rec must come without what the profile knows.
func loopbackGains(rec *analysis.Recording) ([]analysis.Estimate, error) {
	res, err := analysis.ToneResult(rec)
	if err != nil {
		return nil, err
	}
	gains := make([]analysis.Estimate, len(rec.Outputs))
	for i, name := range rec.Outputs {
		found := false
		for _, r := range res.Readings {
			if r.Quantity == analysis.Gain && r.Output == name {
				gains[i] = analysis.Estimate{Value: r.Value, Std: r.Uncertainty / r.K}
				found = true
			}
		}
		if !found {
			return nil, fmt.Errorf("there is no tone at the input for output %s: check the lead", name)
		}
	}
	return gains, nil
}

// strongestNear returns the frequency in hertz of the strongest line of x
// within share of nearHz, to a part of a cycle over x: the peak of a parabola
// through the logarithms of a Hann-windowed spectrum.
func strongestNear(x []float64, rateHz, nearHz, share float64) (float64, error) {
	n := len(x)
	w := make([]float64, n)
	for i, v := range x {
		w[i] = v * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n)))
	}
	bins := fourier.NewFFT(n).Coefficients(nil, w)
	level := func(k int) float64 {
		re, im := real(bins[k]), imag(bins[k])
		return re*re + im*im
	}
	lo := max(1, int(nearHz*(1-share)*float64(n)/rateHz))
	hi := min(len(bins)-2, int(math.Ceil(nearHz*(1+share)*float64(n)/rateHz)))
	best := 0
	for k := lo; k <= hi; k++ {
		if best == 0 || level(k) > level(best) {
			best = k
		}
	}
	if best == 0 || level(best) == 0 {
		return 0, fmt.Errorf("there is nothing near %g Hz", nearHz)
	}
	a, b, c := math.Log(level(best-1)), math.Log(level(best)), math.Log(level(best+1))
	off := 0.0
	if d := a - 2*b + c; d < 0 {
		off = (a - c) / (2 * d)
	}
	return (float64(best) + off) * rateHz / float64(n), nil
}
