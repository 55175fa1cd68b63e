package analysis

import (
	"math"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/floats"
)

// A silence is read up to the end of the third octave at 20 kHz. At a rate that is
// more than that needs, samples are dropped first, behind filters that leave
// what is read as it is.
const (
	// thinRateHz is the least that is kept.
	thinRateHz = 48000.0
	// thinStopDB is how far down what would fold into the band is; the band
	// itself is flat to as little of its height, 1e-6. The Kaiser window's shape
	// and length for it are Kaiser's (1974) formulas, from memory.
	thinStopDB = 120.0
)

// thinned returns x at a lower rate where that can be, and that rate: half of
// it as often as it goes, as the first halves need few taps. What the filters
// would need from beyond the ends of x is left out: under three milliseconds.
func thinned(x []float64, rateHz float64) ([]float64, float64) {
	_, _, topHz := thirdOctaveBand(lastThirdOctave)
	for rateHz/2 >= thinRateHz {
		taps := kaiserSinc(0.25, 0.5-2*topHz/rateHz)
		if len(x) < 2*len(taps) {
			break
		}
		y := make([]float64, (len(x)-len(taps))/2+1)
		for i := range y {
			y[i] = floats.Dot(taps, x[2*i:2*i+len(taps)])
		}
		x, rateHz = y, rateHz/2
	}
	return x, rateHz
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
		taps[i] = 2 * cutoff * testsignals.Sinc(2*cutoff*t) * testsignals.BesselI0OfSquare(sq(beta)*(1-sq(t/float64(reach+1))))
		sum += taps[i]
	}
	floats.Scale(1/sum, taps)
	return taps
}
