package simboard

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
)

// A first-order high-pass is 3.01 dB down at its corner and 45° ahead
// (circuit theory); the droop is what it is called at half the rate.
func TestInputResponse(t *testing.T) {
	in := Input{CouplingHz: 20, DroopDB: 2.5}
	h := in.response(20, 48000)
	near(t, "loss at the corner in dB", gainOf(h), -3.0103, 1e-4)
	near(t, "phase at the corner in degrees", cmplx.Phase(h)*180/math.Pi, 45, 1e-9)
	near(t, "loss at half the rate in dB", gainOf(in.response(24000, 48000)), -2.5, 1e-5)
	near(t, "loss at 10 kHz in dB", gainOf(in.response(10000, 48000)), -2.5*math.Pow(10.0/24, 16), 1e-4)
	near(t, "0 Hz", cmplx.Abs(in.response(0, 48000)), 0, 0)
}

// 600 Ω into 600 Ω is 6.02 dB down, and 0 dBu is 0.7746 V: a tone of -12 dBFS
// on an output of +12 dBu gives an input of +6 dBu -12.02 dBFS.
func TestLoopbackLevel(t *testing.T) {
	c := bare()
	c.Interface.OutputOhms = 600
	c.Interface.Inputs[0].Ohms, c.Interface.Inputs[0].FullScaleDBu = 600, 6
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1000)
	x, first := inBody(sig, take(t, s, sig, capture.Loopback, "").Samples[0])
	near(t, "level in dBFS", gainOf(lockIn(x, 1000, 48000, first)), -12+12-6-6.0206, 1e-4)
	near(t, "0 dBu in V", volts(0), 0.7746, 5e-5)
}

// Swapped, the inverted output B is at input 1 and A at input 2, each with
// its own hum; terminated, neither hears the board.
func TestPatches(t *testing.T) {
	c := mustReady(t, "flipped-split")
	c.Board.Outputs[0].Hum.GroundLoop = &GroundLoop{AmpsRMS: 1, ShieldOhms: 0.01}
	c.Interface.LatencyFrames = 0
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1000)
	in, first := inBody(sig, sig.Samples)
	for patch, want := range map[capture.Patch]struct {
		sign [2]float64
		hums [2]bool
	}{
		capture.ToBoard:    {[2]float64{1, -1}, [2]bool{true, false}},
		capture.Swapped:    {[2]float64{-1, 1}, [2]bool{false, true}},
		capture.Loopback:   {[2]float64{1, 1}, [2]bool{}},
		capture.Terminated: {},
	} {
		for ch, samples := range take(t, s, sig, patch, "").Samples {
			x, _ := inBody(sig, samples)
			h := lockIn(x, 1000, 48000, first) / lockIn(in, 1000, 48000, first)
			near(t, string(patch)+", response", real(h), want.sign[ch], 0.25*math.Abs(want.sign[ch])+1e-3)
			// 10 mV of hum are -53 dBFS.
			if hum := cmplx.Abs(lockIn(x, 50, 48000, first)); (hum > 1e-3) != want.hums[ch] {
				t.Errorf("%s, input %d: hum of %.2g of full scale, want it there: %v", patch, ch+1, hum, want.hums[ch])
			}
		}
	}
}

// What the output does to the signal is in the samples and in what the truth
// says of them, and not in the truth of the board: -3.01 dB at its corner, and
// its droop at half the rate.
func TestOutputResponse(t *testing.T) {
	c := bare()
	plain := bench(t, c).Truth()
	c.Interface.OutputCouplingHz, c.Interface.OutputDroopDB = 20, 2.5
	s := bench(t, c)
	for _, hz := range []float64{20, 1000, 20000} {
		sig := toneSignal(t, 48000, -12, hz)
		played, first := inBody(sig, sig.Samples)
		x, _ := inBody(sig, take(t, s, sig, capture.Loopback, "").Samples[0])
		change := s.Truth().SampleResponse(capture.Loopback, 1, hz) / plain.SampleResponse(capture.Loopback, 1, hz)
		near(t, "loss in dB", gainOf(change), -10*math.Log10(1+400/(hz*hz))-2.5*math.Pow(hz/24000, 16), 1e-6)
		found := lockIn(x, hz, 48000, first) / lockIn(played, hz, 48000, first)
		near(t, "samples against the truth in dB", gainOf(found/s.Truth().SampleResponse(capture.Loopback, 1, hz)), 0, 2e-3)
	}
	near(t, "the board's own gain in dB", s.Truth().GainDB("A"), plain.GainDB("A"), 0)
}
