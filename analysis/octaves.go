package analysis

import (
	"maps"
	"math"
	"slices"
)

// ThirdOctave is the level in one third-octave band.
type ThirdOctave struct {
	// CentreHz is the exact mid-band frequency.
	CentreHz float64
	RMS      Estimate // volts
}

// Third octaves are reported from the band at 25 Hz to that at 20 kHz.
const (
	firstThirdOctave = -16
	lastThirdOctave  = 13
)

// thirdOctaveBand returns centre and edges of band n counted from 1 kHz:
// IEC 61260-1:2014, base ten.
func thirdOctaveBand(n int) (centreHz, lowHz, highHz float64) {
	centreHz = 1000 * math.Pow(10, float64(n)/10)
	half := math.Pow(10, 1.0/20)
	return centreHz, centreHz / half, centreHz * half
}

// lineBins each side of a line hold its power under a Hann window, but for 1e-5.
const lineBins = 4

// thirdOctaves integrates a density over the bands that fit below half the
// rate. noise is the density without lines, lines are those in d. What a line has
// goes to the band that it lies in: under the window it leaks, and beside strong hum
// that would be all there is in the bands next to it.
func thirdOctaves(d, noise density, lines []line) []ThirdOctave {
	top := float64(len(d.psd)-1) * d.binHz
	powers := linePowers(d, noise, lines)
	var bands []ThirdOctave
	for n := firstThirdOctave; n <= lastThirdOctave; n++ {
		centre, low, high := thirdOctaveBand(n)
		if high > top {
			break
		}
		b := weightedPower(noise, noise, Unweighted, low, high)
		for i, l := range lines {
			if l.freqHz >= low && l.freqHz < high {
				b.power += powers[i]
			}
		}
		b.variance += linesVariance(lines, Unweighted, low, high)
		bands = append(bands, ThirdOctave{centre, b.rms()})
	}
	return bands
}

// linePowers is what d holds more than noise around each line, each bin counted for
// the line that it is nearest to.
func linePowers(d, noise density, lines []line) []float64 {
	nearest := map[int]int{}
	for i, l := range lines {
		at := int(math.Round(l.freqHz / d.binHz))
		for k := max(1, at-lineBins); k <= min(len(d.psd)-1, at+lineBins); k++ {
			other, taken := nearest[k]
			if !taken || math.Abs(l.freqHz-float64(k)*d.binHz) < math.Abs(lines[other].freqHz-float64(k)*d.binHz) {
				nearest[k] = i
			}
		}
	}
	powers := make([]float64, len(lines))
	// In their order, so that the same take gives the same last digit again.
	for _, k := range slices.Sorted(maps.Keys(nearest)) {
		powers[nearest[k]] += (d.psd[k] - noise.psd[k]) * d.binHz
	}
	for i := range powers {
		powers[i] = math.Max(powers[i], 0)
	}
	return powers
}
