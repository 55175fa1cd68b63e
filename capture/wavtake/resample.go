package wavtake

import (
	"math"
	"sync"

	"boardproof/testsignals"
)

// The interpolating filter: a sinc cut off at half the rate under a Kaiser
// window of 64 frames each side. With beta 14.5 its sidelobes are under
// -140 dB and its edge is 0.037 of the rate either side of the half: Kaiser's
// formulas as in Oppenheim & Schafer, Discrete-Time Signal Processing (beta =
// 0.1102(A-8.7), width = (A-7.95)/(14.36 N)), from memory. Between tabulated
// phases it is interpolated linearly, which costs under -140 dB.
const (
	halfTaps   = 64
	kaiserBeta = 14.5
	phases     = 4096
)

// resample returns x at start+at(0), start+at(1), … as band-limited
// interpolation gives it; x is taken as zero outside. The error is below
// -110 dB of a tone up to 0.46 of the rate. at must grow by 1 a frame to within
// a part in a thousand: the filter is not narrowed against aliasing.
func resample(x []float64, start, frames int, at func(n float64) float64) []float64 {
	table := kernel()
	y := make([]float64, frames)
	for n := range y {
		step := at(float64(n))
		base := math.Floor(step)
		phase := (step - base) * phases
		p := min(int(phase), phases-1)
		y[n] = convolve(x, start+int(base)-halfTaps+1, table[p], table[p+1], phase-float64(p))
	}
	return y
}

// convolve sums x from frame at on with a kernel between a and b.
func convolve(x []float64, at int, a, b []float64, share float64) (sum float64) {
	from, to := max(-at, 0), min(len(x)-at, len(a))
	var atA, atB float64
	for i := from; i < to; i++ {
		atA += a[i] * x[at+i]
		atB += b[i] * x[at+i]
	}
	return atA + share*(atB-atA)
}

// kernel returns the filter's taps for each phase and one more.
var kernel = sync.OnceValue(func() [][]float64 {
	table := make([][]float64, phases+1)
	for p := range table {
		taps := make([]float64, 2*halfTaps)
		for i := range taps {
			d := float64(i-halfTaps+1) - float64(p)/phases
			taps[i] = testsignals.Sinc(d) * kaiser(d/halfTaps)
		}
		table[p] = taps
	}
	return table
})

// kaiser is the window from -1 to 1, 1 at 0.
func kaiser(u float64) float64 {
	if math.Abs(u) >= 1 {
		return 0
	}
	return testsignals.BesselI0OfSquare(kaiserBeta*kaiserBeta*(1-u*u)) / testsignals.BesselI0OfSquare(kaiserBeta*kaiserBeta)
}
