package analysis

import (
	"math"

	"boardproof/testsignals"

	"github.com/mjibson/go-dsp/window"
	"gonum.org/v1/gonum/dsp/fourier"
)

// welchSeconds is the segment length that noise is read with: 1.5 Hz between
// bins, fine enough for the band edge at 20 Hz.
const welchSeconds = 0.7

// density is a one-sided power spectral density by Welch's method.
type density struct {
	// binHz is between bins, enbwHz the noise bandwidth of each.
	binHz, enbwHz float64
	// psd is in V²/Hz, from 0 Hz up.
	psd []float64
	// averages is how many independent periodograms each bin is worth,
	// effectiveS the time over which a wide band's power was averaged.
	averages, effectiveS float64
}

// periodicHann returns n points of the Hann window in the form that has a
// spectrum of three bins; go-dsp's own is the symmetric one.
func periodicHann(n int) []float64 { return window.Hann(n + 1)[:n] }

// welchLength returns a power of two near welchSeconds that still leaves
// about four half-overlapping segments in the shortest span.
func welchLength(spans []testsignals.Span, rateHz float64) int {
	most := welchSeconds * rateHz
	for _, s := range spans {
		most = math.Min(most, float64(s.Len())/2.5)
	}
	return 1 << max(4, int(math.Log2(most)))
}

// welch averages periodograms of length segLen, half overlapped under a Hann
// window, over all spans: Welch (1967), scaled as Heinzel, Rüdiger &
// Schilling (2002) with the sums of the window in use. x must be free of DC.
//
// go-dsp's spectral.Pwelch gives the same figures (there is a test), but it
// copies the record twice, makes the window anew for each segment, and its
// FFT takes 40 times the memory; so its window is used with Gonum's FFT.
func welch(x []float64, spans []testsignals.Span, rateHz float64, segLen int) density {
	w := periodicHann(segLen)
	sum, sum2 := 0.0, 0.0
	for _, v := range w {
		sum += v
		sum2 += v * v
	}
	d := density{
		binHz:  rateHz / float64(segLen),
		enbwHz: rateHz * sum2 / (sum * sum),
		psd:    make([]float64, segLen/2+1),
	}
	fft := fourier.NewFFT(segLen)
	seg := make([]float64, segLen)
	coeff := make([]complex128, segLen/2+1)
	hop, count, runs := segLen/2, 0, 0
	for _, s := range spans {
		for at := s.Start; at+segLen <= s.End; at += hop {
			for i, v := range x[at : at+segLen] {
				seg[i] = v * w[i]
			}
			for k, c := range fft.Coefficients(coeff, seg) {
				d.psd[k] += real(c)*real(c) + imag(c)*imag(c)
			}
			count++
		}
		if s.Len() >= segLen {
			runs++
		}
	}
	scale := 2 / (rateHz * sum2 * float64(max(count, 1)))
	for k := range d.psd {
		d.psd[k] *= scale
	}
	d.psd[0] /= 2
	if segLen%2 == 0 {
		d.psd[segLen/2] /= 2
	}
	d.averages, d.effectiveS = welchFreedom(w, hop, count, runs, rateHz)
	return d
}

// welchFreedom returns the number of independent averages in one bin, with
// the correlation of overlapping segments taken off (Welch 1967), and the
// effective averaging time of a band much wider than a bin, 1/(rate·Σg²),
// where g is the weight that the overlapped squared windows give each sample.
func welchFreedom(w []float64, hop, count, runs int, rateHz float64) (averages, effectiveS float64) {
	sum2, sum4, cross, cross4 := 0.0, 0.0, 0.0, 0.0
	for i, v := range w {
		sum2 += v * v
		sum4 += v * v * v * v
		if i+hop < len(w) {
			cross += v * w[i+hop]
			cross4 += v * v * w[i+hop] * w[i+hop]
		}
	}
	n, pairs := float64(count), float64(count-runs)
	rho := cross / sum2
	averages = n / (1 + 2*pairs/n*rho*rho)
	effectiveS = n * n * sum2 * sum2 / (rateHz * (n*sum4 + 2*pairs*cross4))
	return averages, effectiveS
}
