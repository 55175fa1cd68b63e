package analysis

import "math"

// riceBound is the level that a line is under with 95 % confidence when its
// fitted modulus is r and each quadrature has standard uncertainty std: with
// nothing known before, line²/std² is non-central chi-squared of two degrees
// of freedom and non-centrality r²/std².
func riceBound(r, std float64) float64 {
	if std == 0 {
		return r
	}
	lambda := r * r / (std * std)
	lo, hi := 0.0, r/std+6
	for hi-lo > 1e-6 {
		mid := (lo + hi) / 2
		if nonCentralChi2(mid*mid, lambda) < 0.95 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi * std
}

// nonCentralChi2 is the distribution function for two degrees of freedom, a
// Poisson mixture of central ones of 2+2j:
// Σ e^(−λ/2)(λ/2)^j/j! · (1 − e^(−x/2)·Σ_{i≤j}(x/2)^i/i!).
// It is for the small lambda of lines in the noise.
func nonCentralChi2(x, lambda float64) float64 {
	weight, term := math.Exp(-lambda/2), math.Exp(-x/2)
	tail, sum, left := term, 0.0, 1.0
	for j := 1; left > 1e-9 && j < 1000; j++ {
		sum += weight * (1 - tail)
		left -= weight
		weight *= lambda / 2 / float64(j)
		term *= x / 2 / float64(j)
		tail += term
	}
	return sum
}

// mainsBand is how far the mains may be from its nominal frequency, as a share
// (EN 50160).
const mainsBand = 0.01

// boundHarmonic bounds a harmonic at hz, in volts RMS, where no comb was found: by
// the largest line that could hide in mainsBand, whatever the frequency is, and by
// all that is there over the noise, as a line that swings too far to be followed is
// no line any more. psd is the record's periodogram.
func boundHarmonic(psd []float64, binHz, lengthS float64, floor spectrumFloor, hz float64) float64 {
	const hannBins, scallop = 1.5, 1.39 // noise bandwidth; worst loss in power (Harris 1978)
	// At the edge of the band half of a line's main lobe, 4 bins wide, lies outside.
	reach := mainsBand*hz + 2/lengthS
	peak, excess, noise := 0.0, 0.0, floor.at(hz)
	from, to := int((hz-reach)/binHz), min(int((hz+reach)/binHz)+1, len(psd)-1)
	for k := from; k <= to; k++ {
		peak = math.Max(peak, psd[k])
		excess += (psd[k] - noise) * binHz
	}
	width := hannBins / lengthS
	line := riceBound(math.Sqrt(peak*width*scallop), math.Sqrt(noise*width/2))
	// What is found of a power P in noise of density S in a band B over a time T has the
	// variance (S²·B + 2·S·P)/T, a Hann window's noise bandwidth more; 1.64 is one-sided 95 %.
	excess = math.Max(excess, 0)
	variance := noise * (noise*float64(to-from+1)*binHz + 2*excess) * width
	return math.Max(line, math.Sqrt(excess+1.64*math.Sqrt(variance)))
}
