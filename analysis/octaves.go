package analysis

import "math"

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

// thirdOctaves integrates a density over the bands that fit below half the
// rate. noise is the density without lines, lines are those in d.
func thirdOctaves(d, noise density, lines []line) []ThirdOctave {
	top := float64(len(d.psd)-1) * d.binHz
	var bands []ThirdOctave
	for n := firstThirdOctave; n <= lastThirdOctave; n++ {
		centre, low, high := thirdOctaveBand(n)
		if high > top {
			break
		}
		b := weightedPower(d, noise, Unweighted, low, high)
		b.variance += linesVariance(lines, Unweighted, low, high)
		bands = append(bands, ThirdOctave{centre, b.rms()})
	}
	return bands
}
