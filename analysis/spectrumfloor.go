package analysis

import (
	"math"
	"sort"
)

// spectrumFloor is the noise density under whatever lines stand in a
// spectrum: medians over stretches of frequency, joined by straight lines in
// the logarithm.
type spectrumFloor struct {
	hz, log []float64
	// freedom is how many independent exponential variates each median is
	// worth.
	freedom []float64
}

// medianBins is how many bins, evenly picked, a median is taken of at most:
// good to 6 % of the density.
const medianBins = 500

// newSpectrumFloor takes medians of psd over f ± f/5, but at least minHalfHz
// and at most maxHalfHz to each side. averages is how many independent
// periodograms psd is the mean of.
func newSpectrumFloor(psd []float64, binHz, averages, minHalfHz, maxHalfHz float64) spectrumFloor {
	var s spectrumFloor
	bias := medianOverMean(averages)
	var bins []float64
	// Bins next to 0 Hz hold what is left of the DC.
	first := min(3, len(psd)-1)
	for f := minHalfHz; ; {
		half := math.Min(math.Max(f/5, minHalfHz), maxHalfHz)
		lo := max(first, int(math.Ceil((f-half)/binHz)))
		hi := min(len(psd), int((f+half)/binHz)+1)
		if hi-lo < 3 {
			if lo >= len(psd)-1 {
				break
			}
			hi = min(len(psd), lo+3)
		}
		stride := max(1, (hi-lo)/medianBins)
		bins = bins[:0]
		for k := lo; k < hi; k += stride {
			bins = append(bins, psd[k])
		}
		s.hz = append(s.hz, f)
		s.log = append(s.log, math.Log(math.Max(middle(bins)/bias, math.SmallestNonzeroFloat64)))
		// A median of exponential variates has the spread of a mean of 0.48
		// as many; Hann makes one bin in 1.9 independent.
		independent := math.Min(float64(len(bins)), float64(hi-lo)/1.9)
		s.freedom = append(s.freedom, math.Max(1, 0.48*averages*independent))
		if hi == len(psd) {
			break
		}
		f += half
	}
	return s
}

// middle returns what would stand in the middle of x if it were sorted, the upper of
// two, and changes the order of x: Hoare's selection, which looks at most values twice.
func middle(x []float64) float64 {
	at := len(x) / 2
	for lo, hi := 0, len(x)-1; lo < hi; {
		pivot, i, j := x[lo+(hi-lo)/2], lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case at <= j:
			hi = j
		case at >= i:
			lo = i
		default:
			return x[at]
		}
	}
	return x[at]
}

// medianOverMean is the median of a gamma variate of shape n over its mean:
// ln 2 for one periodogram, by Wilson and Hilferty's approximation beyond.
func medianOverMean(n float64) float64 {
	if n <= 1 {
		return math.Ln2
	}
	return math.Pow(1-1/(9*n), 3)
}

// at returns the density at a frequency; past either end, the end's.
func (s spectrumFloor) at(freqHz float64) float64 {
	i := sort.SearchFloat64s(s.hz, freqHz)
	switch {
	case i == 0:
		return math.Exp(s.log[0])
	case i == len(s.hz):
		return math.Exp(s.log[i-1])
	}
	v := (freqHz - s.hz[i-1]) / (s.hz[i] - s.hz[i-1])
	return math.Exp(s.log[i-1]*(1-v) + s.log[i]*v)
}

// freedomAt returns the freedom of the nearest median above a frequency.
func (s spectrumFloor) freedomAt(freqHz float64) float64 {
	return s.freedom[min(sort.SearchFloat64s(s.hz, freqHz), len(s.hz)-1)]
}

// skirtSlack is by how much noise may rise over 1/f² towards low frequencies
// before it is taken for a line's skirt: 10 dB.
const skirtSlack = 10.0

// capSkirts takes the skirts of strong lines out of the floor. In pieces of
// half a second they lie as wide as the lines are apart, so that no median
// sees past them; but noise rises towards low frequencies no faster than
// about 1/f².
func (s *spectrumFloor) capSkirts() {
	limit := math.Inf(1)
	for i := len(s.hz) - 1; i >= 0; i-- {
		if i < len(s.hz)-1 {
			limit += 2 * math.Log(s.hz[i+1]/s.hz[i])
		}
		s.log[i] = math.Min(s.log[i], limit+math.Log(skirtSlack))
		limit = math.Min(limit, s.log[i])
	}
}

// periodogram returns the one-sided density of all of x under a Hann window,
// padded with zeros to a length whose transform is quick, and the distance
// between bins.
func periodogram(x []float64, rateHz float64) (psd []float64, binHz float64) {
	n := fastLength(len(x))
	return paddedDensity(x, rateHz, n), rateHz / float64(n)
}

// blackmanSinc returns 2·reach+1 taps of a low-pass of unit gain, cut off at
// a share of the rate.
func blackmanSinc(reach int, cutoff float64) []float64 {
	taps := make([]float64, 2*reach+1)
	sum := 0.0
	for i := range taps {
		t := float64(i - reach)
		phase := math.Pi * t / float64(reach+1)
		v := 2 * cutoff
		if t != 0 {
			v = math.Sin(2*math.Pi*cutoff*t) / (math.Pi * t)
		}
		taps[i] = v * (0.42 + 0.5*math.Cos(phase) + 0.08*math.Cos(2*phase))
		sum += taps[i]
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

// A line that flickers, or a tone that jitters, has a skirt: within besideHz of it the
// noise is what is there, if it is besideRatio times the floor, which is wider.
const (
	besideHz    = 8.0
	besideRatio = 3.0
	besideLeast = 16 // bins that a median is worth taking of
)

// noiseBeside is the density of the noise beside a line at hz, in the periodogram of
// what is left without it.
func noiseBeside(psd []float64, binHz float64, floor spectrumFloor, hz float64) float64 {
	at, reach := int(math.Round(hz/binHz)), int(besideHz/binHz)
	density := floor.at(hz)
	if 2*reach < besideLeast {
		return density
	}
	var around []float64
	for k := max(1, at-reach); k <= at+reach && k < len(psd); k++ {
		if k < at-2 || k > at+2 {
			around = append(around, psd[k])
		}
	}
	if len(around) < besideLeast {
		return density
	}
	if beside := middle(around) / math.Ln2; beside > besideRatio*density {
		return beside
	}
	return density
}
