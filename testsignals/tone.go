package testsignals

import "math"

const toneRampS = 0.05

// fillTone writes a sine of a peak amplitude with raised-cosine ends.
func fillTone(dst []float64, rateHz int, freqHz, amp, rampS float64) {
	ramp := rampS * float64(rateHz)
	n := float64(len(dst))
	for i := range dst {
		g := RaisedCosine(float64(i)/ramp) * RaisedCosine((n-float64(i))/ramp)
		dst[i] = g * amp * math.Sin(2*math.Pi*freqHz*float64(i)/float64(rateHz))
	}
}
