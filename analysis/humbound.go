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

// boundHarmonics bounds each harmonic where no comb was found: by the largest
// line that could hide within ±1 % of it (EN 50160's band), whatever the
// frequency is. psd is the record's periodogram.
func boundHarmonics(psd []float64, binHz, lengthS float64, floor spectrumFloor, nominalHz float64) []MainsHarmonic {
	const hannBins, scallop = 1.5, 1.39 // noise bandwidth; worst loss in power (Harris 1978)
	out := make([]MainsHarmonic, searchHarmonics)
	for i := range out {
		hz := nominalHz * float64(i+1)
		peak := 0.0
		for k := int(0.99 * hz / binHz); k <= int(1.01*hz/binHz)+1 && k < len(psd); k++ {
			peak = math.Max(peak, psd[k])
		}
		width := hannBins / lengthS
		std := math.Sqrt(floor.at(hz) * width / 2)
		out[i] = MainsHarmonic{Harmonic: i + 1, UpperBound: true}
		out[i].RMS.Value = riceBound(math.Sqrt(peak*width*scallop), std)
	}
	return out
}
