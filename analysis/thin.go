package analysis

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// A silence is read up to 20 kHz. At a higher rate than that needs most of its
// samples are dropped first, behind a filter that leaves that band as it is.
const (
	// thinRateHz is the least that is kept.
	thinRateHz = 48000.0
	// thinStopDB is how far down what would fold into the band is; the band
	// itself is flat to as little of its height, 1e-6. The Kaiser window's shape
	// and length for it are Kaiser's (1974) formulas, from memory.
	thinStopDB = 120.0
)

// thinned returns x at a lower rate where that can be, and that rate. What the
// filter would need from beyond the ends of x is left out: under a millisecond.
func thinned(x []float64, rateHz float64) ([]float64, float64) {
	stride := int(rateHz / thinRateHz)
	if stride < 2 {
		return x, rateHz
	}
	kept := rateHz / float64(stride)
	taps := kaiserSinc(kept/2/rateHz, (kept-2*NoiseHighHz)/rateHz)
	if len(x) < 2*len(taps) {
		return x, rateHz
	}
	y := make([]float64, (len(x)-len(taps))/stride+1)
	for i := range y {
		y[i] = floats.Dot(taps, x[i*stride:i*stride+len(taps)])
	}
	return y, kept
}

// kaiserSinc is a low-pass of odd length, in cycles per sample: cutoff is in
// the middle of a transition.
func kaiserSinc(cutoff, transition float64) []float64 {
	const beta = 0.1102 * (thinStopDB - 8.7)
	reach := int(math.Ceil((thinStopDB - 7.95) / (2.285 * 2 * math.Pi * transition) / 2))
	taps := make([]float64, 2*reach+1)
	sum := 0.0
	for i := range taps {
		t := float64(i - reach)
		taps[i] = 2 * cutoff * sincPi(2*cutoff*t) * besselI0(beta*math.Sqrt(1-sq(t/float64(reach+1))))
		sum += taps[i]
	}
	floats.Scale(1/sum, taps)
	return taps
}
