package simboard

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
)

// Rectangular pulses: V²·D·(1-D) of power beside the mean (Parseval), and of
// D = 1/2 the square wave's series 4/π·(V/2)/n over odd n.
func TestPulses(t *testing.T) {
	for _, duty := range []float64{0.03, 0.2, 0.5} {
		p := Pulses{PeakVolts: 2, Duty: duty}
		power := 0.0
		for n := 1; n < 20000; n++ {
			power += p.line(n) * p.line(n) / 2
		}
		// What is left out above n is less than 2·V²/π²/n.
		near(t, "power of the lines", power, 4*duty*(1-duty), 8/math.Pi/math.Pi/20000)
	}
	square := Pulses{PeakVolts: 1, Duty: 0.5}
	for n := 1; n < 8; n++ {
		want := float64(n%2) * 4 / math.Pi / 2 / float64(n)
		near(t, "line of a square wave", math.Abs(square.line(n)), want, 1e-12)
	}
}

// Two families of one clock: every eighth line of the slow one is on the fast
// one's, and both are off by the clock.
func TestLaptopLines(t *testing.T) {
	l := Laptop{Frames: Pulses{1, 0.01}, Microframes: Pulses{3, 0.02}, ClockPPM: 100}
	tones := l.tones(24000)
	if len(tones) != 23 {
		t.Fatalf("%d lines below 24 kHz", len(tones))
	}
	near(t, "third in Hz", tones[2].FrequencyHz, 3000.3, 1e-9)
	near(t, "third in V", tones[2].VoltsRMS, l.Frames.line(3)/math.Sqrt2, 1e-12)
	near(t, "eighth in V", tones[7].VoltsRMS, (l.Frames.line(8)+l.Microframes.line(1))/math.Sqrt2, 1e-12)
}

// Two cosines through x + b·x², sampled and locked in, against the list.
func TestBendOfTones(t *testing.T) {
	const bendPerVolt = 0.3
	b := Board{BendPerVolt: bendPerVolt, Devices: []Device{
		{Name: "x", Tones: []Tone{{FrequencyHz: 9000, VoltsRMS: 0.5, LinewidthHz: 0.1}}},
		{Name: "y", Tones: []Tone{{FrequencyHz: 8500, VoltsRMS: 0.2, LinewidthHz: 0.2}}},
	}}
	x := make([]float64, 96000)
	for i := range x {
		for _, d := range b.Devices {
			x[i] += d.Tones[0].VoltsRMS * math.Sqrt2 * math.Cos(2*math.Pi*d.Tones[0].FrequencyHz*float64(i)/96000)
		}
		x[i] += bendPerVolt * x[i] * x[i]
	}
	widths := map[float64]float64{9000: 0.1, 8500: 0.2, 500: 0.3, 17500: 0.3, 18000: 0.4, 17000: 0.8}
	tones := b.deviceTones()
	if len(tones) != len(widths) {
		t.Fatalf("%d tones, want %d", len(tones), len(widths))
	}
	for _, tone := range tones {
		near(t, "tone in V", tone.VoltsRMS, cmplx.Abs(lockIn(x, tone.FrequencyHz, 96000, 0))/math.Sqrt2, 1e-9)
		near(t, "width in Hz", tone.LinewidthHz, widths[tone.FrequencyHz], 1e-12)
	}
	b.BendPerVolt = 0
	near(t, "tones of a straight board", float64(len(b.deviceTones())), 2, 0)
}

// A rectifier with one half cycle higher is a whole one and a share of a half
// one, whose fundamental is half its peak (Fourier series of the half-wave
// rectified sine); a phase turns each line by its number.
func TestLeaningRectifier(t *testing.T) {
	c := (&Hum{Ripple: &Ripple{PeakVolts: 10, Lean: 0.02}}).comb(50)
	near(t, "fundamental in V", cmplx.Abs(c[1]), 0.02*10/2/math.Sqrt2, 1e-6)
	near(t, "second over the even one's", cmplx.Abs(c[2])/(10*4/math.Pi/3/math.Sqrt2), 1.01, 1e-6)
	near(t, "third", cmplx.Abs(c[3]), 0, 1e-6)
	turned := (&Hum{Ripple: &Ripple{PeakVolts: 10, Lean: 0.02, PhaseRad: 0.4}}).comb(50)
	near(t, "turned fourth", cmplx.Abs(turned[4]-c[4]*cmplx.Rect(1, 1.6)), 0, 1e-12)
}

// What comes in at a device passes the split, what comes in at the input the
// buffer's gain besides: here 600 Ω into 300 Ω, a third, and a gain of -3.
func TestWayToTheOutput(t *testing.T) {
	field := Hum{Electric: &Electric{MainsVoltsRMS: 230, StrayFarads: 1e-12, NodeOhms: 1e6}}
	s := bench(t, hummer(func(c *Config) {
		c.Board.Outputs[0].TerminationOhms, c.Board.Buffer.Gain = 300, -3
		c.Board.Outputs[0].Hum = field
		c.device("delay").Tones = []Tone{{FrequencyHz: 3000, VoltsRMS: 0.01}}
	}))
	atOutput := s.Truth().HumVolts("A", 1)
	near(t, "tone in V", s.Truth().Tones("A")[0].VoltsRMS, 0.01/3, 1e-7)
	for gain, place := range map[float64]func(c *Config){
		1. / 3: func(c *Config) { c.device("fuzz").Hum = field },
		1:      func(c *Config) { c.Board.InputHum = field },
	} {
		c := hummer(place)
		c.Board.Outputs[0].TerminationOhms, c.Board.Buffer.Gain = 300, -3
		near(t, "share of its volts at the output", bench(t, c).Truth().HumVolts("A", 1)/atOutput, gain, 1e-5)
	}
}

// A tone that both inputs have in common has one phase; the level of a swing
// and its step are in the samples.
func TestCommonTonesAndSwing(t *testing.T) {
	c := hummer(func(c *Config) {
		c.device("delay").Tones = []Tone{{FrequencyHz: 3000, VoltsRMS: 0.01, LinewidthHz: 0.5}}
		c.Board.Outputs[1].Hum = Hum{Electric: &Electric{MainsVoltsRMS: 230, StrayFarads: 1e-9, NodeOhms: 1e3, Lines: []Harmonic{{1, 1, 0}}},
			Swing: &Swing{DepthDB: 3, PeriodS: 4, StepDB: -20, StepAtS: 4, StepEveryS: 8}}
	})
	s := bench(t, c)
	sig := silence(t, 48000, 3)
	first := take(t, s, sig, capture.ToBoard, "").Samples
	for i := range first[0] {
		first[0][i] -= first[1][i]
	}
	if v := cmplx.Abs(lockIn(first[0][24000:48000], 3000, 48000, 0)); !(v < 1e-6) {
		t.Errorf("the tone differs between the outputs by %g", v)
	}
	whole := first[1]
	startS, elapsed := 0.0, float64(len(whole))/48000
	for takes := range 2 {
		for _, at := range []float64{0.5, 1.5, 2.5} {
			x := whole[int(at*48000):][:4800]
			amplitude := cmplx.Abs(lockIn(x, 50, 48000, 0)) * volts(12)
			tS := startS + at + 0.05 // the middle of the window
			wantDB := 3 * math.Sin(2*math.Pi*tS/4)
			if tS > 4 {
				wantDB -= 20
			}
			near(t, "level in dB", 20*math.Log10(amplitude/s.cfg.Board.Outputs[1].Hum.Electric.lineVolts(50)), wantDB, 0.02)
		}
		if takes == 0 {
			startS = elapsed
			whole = take(t, s, sig, capture.ToBoard, "").Samples[1]
		}
	}
}

func (e *Electric) lineVolts(fHz float64) float64 {
	return e.MainsVoltsRMS * cmplx.Abs(stray(fHz, e.StrayFarads, e.NodeOhms))
}

func TestSwing(t *testing.T) {
	s := &Swing{StepDB: -6, StepAtS: 1, StepEveryS: 2}
	for at, dB := range map[float64]float64{0.9: 0, 1.1: -6, 2.9: -6, 3.1: 0, 4.9: 0, 5.1: -6} {
		near(t, "step in dB", 20*math.Log10(s.gain(at)), dB, 1e-12)
	}
	once := &Swing{StepDB: -6, StepAtS: 1}
	near(t, "a step that stays", 20*math.Log10(once.gain(1e4)), -6, 1e-12)
}

// Nothing of the board's reaches the inputs where it is not connected.
func TestTerminatedHearsTheBenchAlone(t *testing.T) {
	s := bench(t, mustReady(t, "whine"))
	got, err := s.Record(context.Background(), capture.Request{Signal: silence(t, 48000, 1), Outputs: []int{1}, Inputs: []int{1}, Patch: capture.Terminated})
	if err != nil {
		t.Fatal(err)
	}
	if v := cmplx.Abs(lockIn(got.Samples[0][24000:48000], 1470, 48000, 0)) * volts(11.8); !(v < 2e-6) {
		t.Errorf("the whine is at %g V with the inputs terminated", v)
	}
	near(t, "lines with the board", float64(len(s.Truth().RecordedTones(capture.ToBoard, 1))), 1, 0)
}
