package simboard

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
	"boardproof/testsignals"
)

// bare is a board that does nothing, on an interface that adds nothing but
// its coupling capacitor's corner, as far down as is allowed.
func bare() Config {
	return Config{
		RateHz: 48000, TemperatureK: 0, Seed: 7, Mains: Mains{StartHz: 50},
		Interface: Interface{
			OutputFullScaleDBu: 12, OutputOhms: 1e-3, Outputs: 1, OutputNoiseDBu: -300,
			Inputs: []Input{
				{FullScaleDBu: 12, Ohms: 1e9, NoiseDBu: -300, CouplingHz: 1},
				{FullScaleDBu: 12, Ohms: 1e9, NoiseDBu: -300, CouplingHz: 1},
			},
		},
		Board: Board{
			Buffer:  Buffer{Ohms: 1e9, Gain: 1, OutputOhms: 1e-3},
			Outputs: []Output{{Name: "A", SeriesOhms: 0.01}, {Name: "B", SeriesOhms: 0.01}},
		},
	}
}

// silenced takes everything from c that is not its linear response.
func silenced(c Config) Config {
	c.TemperatureK = 0
	c.Interface.OutputNoiseDBu, c.Interface.Second, c.Interface.Third = -300, 0, 0
	c.Interface.Inputs = append([]Input(nil), c.Interface.Inputs...)
	for i := range c.Interface.Inputs {
		in := &c.Interface.Inputs[i]
		in.NoiseDBu, in.Hum, in.Tones = -300, nil, nil
	}
	b := &c.Board.Buffer
	b.NoiseVolts, b.NoiseAmps, b.Second, b.Third, b.RailVolts = 0, 0, 0, 0, 0
	c.Board.Joints = nil
	c.Board.Outputs = append([]Output(nil), c.Board.Outputs...)
	for i := range c.Board.Outputs {
		c.Board.Outputs[i].Hum, c.Board.Outputs[i].Tones = Hum{}, nil
	}
	return c
}

func bench(t *testing.T, c Config) *Simboard {
	t.Helper()
	s, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func signal(t *testing.T, spec testsignals.Spec) *testsignals.Signal {
	t.Helper()
	s, err := testsignals.Generate(spec)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func toneSignal(t *testing.T, rateHz int, levelDBFS, fHz float64) *testsignals.Signal {
	t.Helper()
	spec := testsignals.New(testsignals.Tone, rateHz, levelDBFS, 1)
	spec.FrequencyHz = fHz
	return signal(t, spec)
}

func silence(t *testing.T, rateHz int, seconds float64) *testsignals.Signal {
	t.Helper()
	return signal(t, testsignals.New(testsignals.Silence, rateHz, -60, seconds))
}

// take records both inputs.
func take(t *testing.T, s *Simboard, sig *testsignals.Signal, patch capture.Patch, state string) *capture.Take {
	t.Helper()
	req := capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Patch: patch, State: state}
	got, err := s.Record(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// lockIn returns the peak phasor of x at a frequency, whose cycles x holds a
// whole number of; the phase is that of a sine at frame first.
func lockIn(x []float64, fHz, rateHz float64, first int) complex128 {
	var sum complex128
	for i, v := range x {
		sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*fHz*float64(first+i)/rateHz)
	}
	return sum * complex(0, 2/float64(len(x)))
}

// inBody returns half a second of a tone, up to 0.2 s before its end, with
// the frame it starts at.
func inBody(sig *testsignals.Signal, x []float64) (part []float64, first int) {
	n := sig.RateHz / 2
	first = sig.Body.End - n - sig.RateHz/5
	return x[first : first+n], first
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %.3g", what, got, want, tolerance)
	}
}

func dBu(voltsRMS float64) float64 { return 20 * math.Log10(voltsRMS/math.Sqrt(0.6)) }
