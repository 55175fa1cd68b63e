package testsignals

import "math"

// PilotsHz are the frequencies of a sweep's pilot tones. They are steady while the
// sweep runs, so that their level shows what the board's gain does in time, which a
// sweep alone shows as if it were a matter of frequency. A pilot is blind while the
// sweep or one of its harmonics passes it: no two of these stand in the ratio of
// small whole numbers, so that they are blind at different times. They lie in the
// middle of what a guitar board passes, and 25 Hz away from all multiples of 50 and
// 60 Hz.
var PilotsHz = [...]float64{625, 2075, 5375}

// The louder the pilots the smaller the change that they show in noise. 26 dB below it the
// sweep gives up 1.2 dB to keep the peak, and on a board with 1 % of second harmonic
// what they leave in the response stays under 0.01 dB.
const defaultPilotBelowDB = 26.0

// SweepAmplitude is the peak amplitude of the sweep itself: with its pilots it has
// the amplitude of the body.
func SweepAmplitude(s Spec) float64 {
	return s.Amplitude() / (1 + float64(len(PilotsHz))*pilotRatio(s))
}

// pilotRatio is each pilot's amplitude over the sweep's.
func pilotRatio(s Spec) float64 {
	if s.PilotBelowDB == 0 {
		return 0
	}
	return math.Pow(10, -s.PilotBelowDB/20)
}

// addPilots adds the pilots to a body. They come and go with the sweep.
func addPilots(dst []float64, s Spec) {
	if s.PilotBelowDB == 0 {
		return
	}
	amp, gain := SweepAmplitude(s)*pilotRatio(s), SweepFade(s)
	for k := range dst {
		t := float64(k) / float64(s.RateHz)
		sum := 0.0
		for _, f := range PilotsHz {
			sum += math.Sin(2 * math.Pi * f * t)
		}
		dst[k] += amp * gain(t) * sum
	}
}
