package analysis

import "math"

// DensityCurve is a noise density for plots, evenly dense in the logarithm of
// frequency where the bins are fine enough.
type DensityCurve struct {
	FrequencyHz []float64
	// VoltsPerRootHz is RMS volts in 1 Hz.
	VoltsPerRootHz []float64
	// RelStd is the standard uncertainty of VoltsPerRootHz relative to it.
	RelStd []float64
	// BandwidthHz is the noise bandwidth of a bin: a line of v volts RMS shows
	// as v/√BandwidthHz.
	BandwidthHz float64
}

// curveStep is the width of a point of the curve, as a share of frequency.
const curveStep = 0.007

// densityCurve thins d from 20 Hz to 20 kHz. A point is the mean of its bins,
// as noise asks for, but where a line stands out, its strongest bin, so that
// no line is thinned away.
func densityCurve(d, noise density) DensityCurve {
	c := DensityCurve{BandwidthHz: d.enbwHz}
	last := min(int(NoiseHighHz/d.binHz), len(d.psd)-1)
	for k := int(math.Ceil(NoiseLowHz / d.binHz)); k <= last; {
		end := min(last+1, max(k+1, int(float64(k)*(1+curveStep))))
		sum, under, peak, at := 0.0, 0.0, 0.0, k
		for i := k; i < end; i++ {
			sum += d.psd[i]
			under += noise.psd[i]
			if d.psd[i] > peak {
				peak, at = d.psd[i], i
			}
		}
		n := float64(end - k)
		value, hz, std := sum/n, float64(k+end-1)/2*d.binHz, relStdOfPower(d.averages*n/hannAlike(n))/2
		// Six standard deviations of a bin of noise.
		if peak > under/n*(1+6/math.Sqrt(d.averages)) {
			value, hz = peak, float64(at)*d.binHz
			std = math.Sqrt(under/n/peak) / math.Sqrt(d.averages)
		}
		c.FrequencyHz = append(c.FrequencyHz, hz)
		c.VoltsPerRootHz = append(c.VoltsPerRootHz, math.Sqrt(value))
		c.RelStd = append(c.RelStd, std)
		k = end
	}
	return c
}

// hannAlike is by how much the mean of n neighbouring bins under a Hann window
// scatters more, in power, than that of n independent ones: their amplitudes are
// correlated by 2/3 with the next and by 1/6 with the one after.
func hannAlike(n float64) float64 {
	return 1 + 2*((n-1)/n*4/9+math.Max(0, n-2)/n/36)
}

// relStdOfPower is the standard uncertainty of the logarithm of a mean of n
// independent powers of noise, with what that mean is too low by: the gamma
// distribution's trigamma and digamma functions, by their asymptotic series
// (Abramowitz & Stegun, 6.3.18 and 6.4.12; from memory).
func relStdOfPower(n float64) float64 {
	return math.Sqrt(1/n + 1/(2*n*n) + 1/(6*n*n*n) + sq(1/(2*n)+1/(12*n*n)))
}
