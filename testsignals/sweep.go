package testsignals

import "math"

// Shares of the rate between which a sweep fades out, and the ratio of
// frequencies over which it fades in: readings are taken inside them.
const (
	fadeInRatio     = 1.6
	fadeOutFromStop = 0.95
)

// SweepRate returns L, in seconds, of the synchronised exponential sweep
// x(t) = sin(2·pi·f1·L·exp(t/L)): the time in which the frequency grows by a
// factor e. L·f1 is an integer so that each harmonic's impulse response is in
// phase with the first: Novak, Lotton & Simon, JAES 63(10), 2015, eqs. 40-43
// (equation numbers from memory).
func SweepRate(s Spec) float64 {
	cycles := math.Round(s.StartHz * s.DurationS / math.Log(s.StopHz/s.StartHz))
	return math.Max(cycles, 1) / s.StartHz
}

func sweepSeconds(s Spec) float64 { return SweepRate(s) * math.Log(s.StopHz/s.StartHz) }

// SweepFlatBand returns the frequencies in hertz between which a sweep has
// its full level.
func SweepFlatBand(s Spec) (lowHz, highHz float64) {
	return s.StartHz * fadeInRatio, s.StopHz * fadeOutFromStop
}

func fillSweep(dst []float64, s Spec) {
	l := SweepRate(s)
	amp, gain := SweepAmplitude(s), SweepFade(s)
	for i := range dst {
		t := float64(i) / float64(s.RateHz)
		dst[i] = amp * gain(t) * math.Sin(2*math.Pi*s.StartHz*l*math.Exp(t/l))
	}
}

// SweepFade is how a sweep and its pilots come and go: their gain, 0 to 1, at t
// seconds.
func SweepFade(s Spec) func(t float64) float64 {
	l := SweepRate(s)
	low, high := SweepFlatBand(s)
	inS, outS := l*math.Log(low/s.StartHz), l*math.Log(high/s.StartHz)
	endS := sweepSeconds(s)
	return func(t float64) float64 { return RaisedCosine(t/inS) * RaisedCosine((endS-t)/(endS-outS)) }
}
