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
		value, hz, std := sum/n, float64(k+end-1)/2*d.binHz, 1/(2*math.Sqrt(d.averages*n))
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
