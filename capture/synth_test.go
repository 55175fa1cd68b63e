package capture

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// synth makes a recording of a signal with known faults. The zero value plays
// the signal back untouched.
type synth struct {
	offset   float64 // frames of silence before the signal
	ppm      float64 // the recorder's clock against the player's
	gain     float64 // 0 means 1; negative inverts
	poleHz   float64 // one-pole low-pass, 0 for none
	humHz    float64 // 0 means 50.02
	humPeak  float64 // of the fundamental, harmonics fall as 1/n
	noise    float64 // RMS over the whole band
	lost     int     // frames cut out, negative repeats them
	lostAt   float64 // frame of the signal before which they are cut
	after    int     // frames of silence behind
	channels int     // 0 means 1
}

func (s synth) record(sig *testsignals.Signal, draw *rand.Rand) *Take {
	stretch := 1 + s.ppm*1e-6
	if s.humHz == 0 {
		s.humHz = 50.02
	}
	n := int(math.Ceil(s.offset+stretch*float64(sig.Frames))) + s.after
	take := &Take{Signal: sig.Spec, RateHz: sig.RateHz}
	clean := make([]float64, n)
	for i := range clean {
		clean[i] = interpolate(sig.Samples, (float64(i)-s.offset)/stretch)
	}
	if s.poleHz > 0 {
		onePole(clean, s.poleHz/float64(sig.RateHz))
	}
	for c := range max(s.channels, 1) {
		x := make([]float64, n)
		humPhase := 2 * math.Pi * draw.Float64()
		for i, v := range clean {
			if s.gain != 0 {
				v *= s.gain
			}
			for h := 1.0; h <= 9 && s.humPeak > 0; h += 2 {
				v += s.humPeak / h * math.Sin(h*(2*math.Pi*s.humHz*float64(i)/float64(sig.RateHz)+humPhase))
			}
			x[i] = v + s.noise*draw.NormFloat64()
		}
		take.Samples = append(take.Samples, cutFrames(x, s.lost, int(s.offset+stretch*s.lostAt)))
		take.Inputs = append(take.Inputs, c+1)
	}
	return take
}

func cutFrames(x []float64, lost, at int) []float64 {
	if lost == 0 {
		return x
	}
	return append(append([]float64{}, x[:at]...), x[at+lost:]...)
}

// interpolate returns x at a fractional frame: a sinc of 32 frames each side
// under a window of cos³, which is good to -110 dB below 0.3 of the rate,
// where the marks are.
func interpolate(x []float64, at float64) (sum float64) {
	const half = 32
	base := int(math.Floor(at))
	frac := at - float64(base)
	if frac == 0 {
		if base < 0 || base >= len(x) {
			return 0
		}
		return x[base]
	}
	for k := max(base-half+1, 0); k <= min(base+half, len(x)-1); k++ {
		if x[k] == 0 {
			continue
		}
		d := at - float64(k)
		w := math.Cos(math.Pi * d / (2 * half))
		sign := float64(1 - 2*((base-k)&1))
		sum += x[k] * sign * w * w * w / d
	}
	return sum * math.Sin(math.Pi*frac) / math.Pi
}

func onePole(x []float64, share float64) {
	a := 1 - math.Exp(-2*math.Pi*share)
	y := 0.0
	for i, v := range x {
		y += a * (v - y)
		x[i] = y
	}
}

// markSNR returns the RMS of white noise at which a mark of a signal stands
// snrDB over the noise between 300 and 6000 Hz: the mean square of a Hann
// window is 3/8, of a sine 1/2.
func markSNR(sig *testsignals.Signal, gain, snrDB float64) (noise float64) {
	peak := gain * sig.Amplitude() * math.Pow(10, -testsignals.MarkBelowDB/20)
	power := peak * peak * 3 / 16
	share := (bandHighHz - bandLowHz) / (float64(sig.RateHz) / 2)
	return math.Sqrt(power / math.Pow(10, snrDB/10) / share)
}

func shortSignal(t testing.TB, kind testsignals.Kind, rateHz int) *testsignals.Signal {
	t.Helper()
	s := testsignals.New(kind, rateHz, -12, 0.5)
	s.LeadS, s.TailS = 0.1, 0.2
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}
