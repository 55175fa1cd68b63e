package analysis

import "math"

// The band that noise is read in, in hertz.
const (
	NoiseLowHz  = 20.0
	NoiseHighHz = 20000.0
)

// bandPower is the mean square in volts² of noise in a weighted band, and
// the variance of that figure.
type bandPower struct{ power, variance float64 }

func (b bandPower) plus(o bandPower) bandPower {
	return bandPower{b.power + o.power, b.variance + o.variance}
}

// weightedPower integrates d from lowHz to highHz under a weighting. A bin
// that straddles an edge counts by its share. The variance is that of
// Gaussian noise, ∫S²·W⁴ df over the effective averaging time (Bendat &
// Piersol's random error of a mean square, from memory); it is taken from
// noise, a density with the deterministic lines removed.
func weightedPower(d, noise density, weighting string, lowHz, highHz float64) bandPower {
	var b bandPower
	last := min(len(d.psd)-1, int(highHz/d.binHz)+1)
	for k := int(lowHz / d.binHz); k <= last; k++ {
		share := binShare(float64(k), d.binHz, lowHz, highHz)
		g := WeightingGain(weighting, float64(k)*d.binHz)
		width := share * d.binHz
		b.power += g * g * d.psd[k] * width
		b.variance += g * g * g * g * noise.psd[k] * noise.psd[k] * width
	}
	// The square of an estimate is larger than the estimate's square.
	b.variance /= noise.effectiveS * (1 + 1/noise.averages)
	return b
}

// binShare is how much of bin k lies between lowHz and highHz, 0 to 1.
func binShare(k, binHz, lowHz, highHz float64) float64 {
	from := math.Max((k-0.5)*binHz, lowHz)
	to := math.Min((k+0.5)*binHz, highHz)
	return math.Max(0, to-from) / binHz
}

// rms turns a mean square into an RMS value.
func (b bandPower) rms() Estimate {
	v := math.Sqrt(math.Max(b.power, 0))
	if v == 0 {
		return Estimate{0, math.Sqrt(math.Sqrt(b.variance))}
	}
	return Estimate{v, math.Sqrt(b.variance) / (2 * v)}
}

// line is one deterministic line in the spectrum: RMS volts and the standard
// uncertainty of each of its two quadratures.
type line struct{ freqHz, rms, std float64 }

// linesVariance is what the beating of lines with the noise around them adds
// to the variance of a weighted power.
func linesVariance(lines []line, weighting string, lowHz, highHz float64) float64 {
	v := 0.0
	for _, l := range lines {
		if l.freqHz < lowHz || l.freqHz > highHz {
			continue
		}
		g := WeightingGain(weighting, l.freqHz)
		v += 4 * l.rms * l.rms * l.std * l.std * g * g * g * g
	}
	return v
}

// noiseLevels reads RMS volts from 20 Hz to 20 kHz (or half the rate) by
// weighting.
func noiseLevels(d, noise density, lines []line) map[string]Estimate {
	levels := make(map[string]Estimate, len(Weightings))
	for _, w := range Weightings {
		b := weightedPower(d, noise, w, NoiseLowHz, NoiseHighHz)
		b.variance += linesVariance(lines, w, NoiseLowHz, NoiseHighHz)
		levels[w] = b.rms()
	}
	return levels
}
