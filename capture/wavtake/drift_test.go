package wavtake

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// driftingRecording is sig as a recorder heard it whose clock is ppm off in the
// middle of the signal and drifts by so many ppm through it.
func driftingRecording(sig *testsignals.Signal, ppm, drift, noise float64, draw *rand.Rand) [][]float64 {
	const offset = 9000.3
	half := float64(sig.Frames) / 2
	x := make([]float64, sig.Frames+20000)
	for i := range x {
		// The frame of the signal, u, that is recorded as frame i.
		u := float64(i) - offset
		for range 4 {
			u = (float64(i) - offset - 1e-6*drift/(2*float64(sig.Frames))*u*(u-2*half)) / (1 + 1e-6*ppm)
		}
		x[i] = at(sig, u) + noise*draw.NormFloat64()
	}
	return [][]float64{x, x}
}

// A clock that drifts by 1 to 5 ppm through the take: what is left after it was
// estimated and removed is within what is stated, and where it is lost in the
// noise, the stated uncertainty holds it. The truth is the synthesis: a tone of
// steady phase.
func TestDriftIsRemovedOrStated(t *testing.T) {
	if testing.Short() {
		t.Skip("long recordings")
	}
	draw := rand.New(rand.NewPCG(41, 1))
	s := testsignals.New(testsignals.Tone, 48000, -12, 6)
	s.FrequencyHz = 4000
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	var sum, worst float64
	cases := []struct{ drift, noise float64 }{{1, 1e-6}, {-5, 1e-6}, {3, 1e-5}, {5, 1e-4}, {0, 3e-5}}
	for _, c := range cases {
		x := driftingRecording(sig, 37, c.drift, c.noise, draw)
		take, err := open(t, 48000, x).Record(context.Background(), request(sig))
		if err != nil {
			t.Fatal(err)
		}
		// The moment in the middle against the ends of the tone, in frames.
		at := func(share float64) float64 {
			n := sig.Body.Start + int(share*float64(sig.Body.Len()))
			return phaseOf(take.Samples[0][n:n+12000], 2*math.Pi*4000/48000, n) / (2 * math.Pi * 4000 / 48000)
		}
		period := 12.0
		off := math.Remainder(at(0.5)-at(0.03), period) - 0.5*math.Remainder(at(0.95)-at(0.03), period)
		z := off / 48000 / take.ClockError.MiddleStdS
		t.Logf("%+g ppm in noise of %g: found %.3f ± %.3f ppm; the middle is off by %.5f frames, stated %.5f", c.drift, c.noise,
			take.ClockError.DriftPPM, take.ClockError.DriftStdPPM, off, 48000*take.ClockError.MiddleStdS)
		sum += z * z / float64(len(cases))
		worst = math.Max(worst, math.Abs(z))
	}
	if worst > 3.5 || math.Sqrt(sum) > 1.7 {
		t.Errorf("the middle is off by up to %.1f of the stated uncertainty, RMS %.1f", worst, math.Sqrt(sum))
	}
}

// phaseOf is the phase of a tone of omega radians a frame, as if it began at
// frame 0 and x at frame n.
func phaseOf(x []float64, omega float64, n int) float64 {
	var sin, cos float64
	for i, v := range x {
		s, c := math.Sincos(omega * float64(n+i))
		w := 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x)))
		sin, cos = sin+w*v*s, cos+w*v*c
	}
	return math.Atan2(cos, sin)
}
