package analysis

import (
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"boardproof/testsignals"
)

// ImpulseResponse is the average answer to a train of impulses as a spectrum.
type ImpulseResponse struct {
	FrequencyHz []float64
	H           []complex128
	// Std is the standard deviation of H, both components together, from the
	// scatter between periods.
	Std []float64
}

// impulseBand is the share of the rate up to which an impulse is flat.
const impulseBand = 0.4

// AverageImpulses averages the periods of an impulse train in one recorded
// channel, the first left out as the board is still settling, and divides by
// the impulse played. offset is the arrival of the signal's frame 0, of which
// the whole frames are taken out of the phase.
func AverageImpulses(rec []float64, sig *testsignals.Signal, offset float64) (*ImpulseResponse, error) {
	starts, period := testsignals.ImpulseStarts(sig.Spec)
	at := sig.Body.Start + int(math.Round(offset)) - preImpulse(sig.RateHz)
	last := at + starts[len(starts)-1] + period
	if at < 0 || last > len(rec) {
		return nil, errors.New("the recording ends before the impulses do")
	}
	if len(starts) < 4 {
		return nil, errors.New("fewer than four impulses cannot be averaged")
	}
	fft := fourier.NewFFT(period)
	spectra := make([][]complex128, 0, len(starts)-1)
	for _, s := range starts[1:] {
		spectra = append(spectra, fft.Coefficients(nil, rec[at+s:at+s+period]))
	}
	one := make([]float64, period)
	for i, v := range testsignals.Impulse() {
		one[preImpulse(sig.RateHz)+i] = v * sig.Amplitude()
	}
	return averageOver(spectra, fft.Coefficients(nil, one), float64(sig.RateHz)/float64(period), float64(sig.RateHz)), nil
}

// preImpulse is how many frames before an impulse's start its period is cut,
// so that an arrival slightly early is not cut in two.
func preImpulse(rateHz int) int { return rateHz / 200 }

func averageOver(spectra [][]complex128, x []complex128, binHz, rateHz float64) *ImpulseResponse {
	n := float64(len(spectra))
	r := &ImpulseResponse{}
	for k := 1; float64(k)*binHz < impulseBand*rateHz; k++ {
		var mean complex128
		for _, s := range spectra {
			mean += s[k]
		}
		mean = scale(1/n, mean)
		scatter := 0.0
		for _, s := range spectra {
			scatter += sqAbs(s[k] - mean)
		}
		r.FrequencyHz = append(r.FrequencyHz, float64(k)*binHz)
		r.H = append(r.H, mean/x[k])
		r.Std = append(r.Std, math.Sqrt(scatter/(n-1)/n)/cmplx.Abs(x[k]))
	}
	return r
}
