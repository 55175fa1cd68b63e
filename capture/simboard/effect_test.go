package simboard

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
)

// harmonics of a tone at the board's input, in peak volts at output A, with a
// state engaged.
func harmonics(t *testing.T, c Config, fHz, dBFS float64, state string) (h [4]float64) {
	t.Helper()
	s := bench(t, c)
	sig := toneSignal(t, c.RateHz, dBFS, fHz)
	x, first := inBody(sig, take(t, s, sig, capture.ToBoard, state).Samples[0])
	for n := 1; n <= 3; n++ {
		h[n] = cmplx.Abs(lockIn(x, fHz*float64(n), float64(c.RateHz), first)) * volts(s.Truth().InputFullScaleDBu(1)) * math.Sqrt2
	}
	return h
}

// A square and a cubic term give A²/2 and A³/4 (trigonometry), here as ratios
// stated at 0 dBu, and the cubic takes 3/4 of itself off the fundamental; at
// both sides of the oversampling limit.
func TestBufferDistortion(t *testing.T) {
	if testing.Short() {
		t.Skip("several takes")
	}
	for _, rate := range []int{48000, 192000} {
		c := bare()
		c.RateHz = rate
		c.Board.Buffer.Second, c.Board.Buffer.Third = 1e-3, 4e-4
		for _, level := range []float64{0, 6} {
			h := harmonics(t, c, 1000, level-12, "")
			a := volts(level) / volts(0)
			near(t, "second", h[2]/(volts(level)*math.Sqrt2), 1e-3*a, 1e-7)
			near(t, "third", h[3]/(volts(level)*math.Sqrt2), 4e-4*a*a, 1e-7)
			near(t, "fundamental", h[1]/(volts(level)*math.Sqrt2), 1-3*4e-4*a*a, 2e-6)
			second, third, gain := bench(t, c).Truth().Distortion(level)
			near(t, "second over fundamental", h[2]/h[1], second, 1e-7)
			near(t, "third over fundamental", h[3]/h[1], third, 1e-7)
			near(t, "fundamental in dB", 20*math.Log10(h[1]/(volts(level)*math.Sqrt2)), gain, 2e-5)
		}
	}
}

// Hard against the rails a sine is nearly a square wave: third -9.54 dB
// (figure from shared/reference/README.md) and fundamental 4/π of the rail.
func TestRailsMakeASquareWave(t *testing.T) {
	c := bare()
	c.Board.Buffer.RailVolts = 0.05
	// At 100 Hz: what folds back is the 957th harmonic and beyond.
	h := harmonics(t, c, 100, 0, "")
	near(t, "fundamental over the rail", h[1]/0.05, 4/math.Pi, 0.001)
	near(t, "third in dB", 20*math.Log10(h[3]/h[1]), -9.54, 0.02)
	near(t, "second", h[2]/h[1], 0, 1e-5)
}

// The cubic clipper holds at its turning point, two thirds of 1/√(3b).
func TestClipperSaturates(t *testing.T) {
	x := []float64{100, -100, 0.001}
	Clipper{Third: 0.05}.run(x, 48000)
	b := 4 * 0.05 / (2 * 0.6)
	near(t, "top", x[0], 2.0/3/math.Sqrt(3*b), 1e-12)
	near(t, "bottom", x[1], -x[0], 1e-12)
	near(t, "small", x[2], 0.001, 1e-9)
}

// Above its threshold a compressor of ratio 4 turns 12 dB into 3 dB, and
// passes what is below it.
func TestCompressorRatio(t *testing.T) {
	c := bare()
	c.Board.Devices = []Device{{Name: "squeeze", Effect: Compressor{ThresholdDBu: -30, Ratio: 4, AttackS: 0.002, ReleaseS: 0.1, MakeupDB: 5}}}
	level := func(dBFS float64) float64 {
		h := harmonics(t, c, 1000, dBFS, "squeeze")
		return 20 * math.Log10(h[1])
	}
	near(t, "12 dB more in", level(-12)-level(-24), 3, 0.01)
	near(t, "6 dB more in, below", level(-52)-level(-58), 6, 0.001)
	near(t, "make-up", level(-52), 20*math.Log10(volts(-40)*math.Sqrt2)+5, 0.001)
}

// After a step up the peak detector closes on the new peak as 1-exp(-t/τ).
func TestCompressorAttack(t *testing.T) {
	comp := Compressor{ThresholdDBu: -60, Ratio: 2, AttackS: 0.01, ReleaseS: 0.2}
	x := make([]float64, 4800)
	for i := range x {
		x[i] = 1
	}
	comp.run(x, 48000)
	threshold := volts(-60) * math.Sqrt2
	near(t, "gain after one time constant", x[479], math.Sqrt(threshold/(1-math.Exp(-1))), 1e-4)
}

// A chorus whose delay stands still is a comb filter, 1 + m·exp(-jωD), and one
// that moves spreads a tone by its rate.
func TestChorus(t *testing.T) {
	c := bare()
	still := Chorus{DelayS: 0.0083, Mix: 0.5}
	moving := still
	moving.DepthS, moving.RateHz = 0.001, 4
	c.Board.Devices = []Device{{Name: "still", Effect: still}, {Name: "moving", Effect: moving}}
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1010)
	in, first := inBody(sig, sig.Samples)
	for state, lines := range map[string][2]float64{"still": {0, 1e-7}, "moving": {0.01, 1}} {
		x, _ := inBody(sig, take(t, s, sig, capture.ToBoard, state).Samples[0])
		h := lockIn(x, 1010, 48000, first) / lockIn(in, 1010, 48000, first)
		if state == "still" {
			want := 1 + 0.5*cmplx.Rect(1, -2*math.Pi*1010*0.0083)
			near(t, "comb filter", cmplx.Abs(h/s.Truth().SampleResponse(capture.ToBoard, 1, 1010)-want), 0, 2e-6)
		}
		side := cmplx.Abs(lockIn(x, 1014, 48000, first)) / cmplx.Abs(lockIn(x, 1010, 48000, first))
		if side < lines[0] || side > lines[1] {
			t.Errorf("%s: sideband at %.3g of the tone, want %g to %g", state, side, lines[0], lines[1])
		}
	}
}

// States engage what they name; what is always on acts in all of them.
func TestStates(t *testing.T) {
	if testing.Short() {
		t.Skip("several takes")
	}
	gain := func(dB float64) Effect { return Clipper{GainDB: dB} }
	c := bare()
	c.Board.Devices = []Device{{Name: "one", Effect: gain(-1)}, {Name: "two", Effect: gain(-2)},
		{Name: "four", Effect: gain(-4), AlwaysOn: true}, {Name: "none"}}
	for state, want := range map[string]float64{
		"": -4, "all bypassed": -4, "all engaged": -7, "one": -5, "two, one": -7, "none": -4, "four": -4,
	} {
		h := harmonics(t, c, 1000, -12, state)
		near(t, "level in state "+state, 20*math.Log10(h[1]/math.Sqrt2/volts(0)), want, 1e-3)
	}
}
