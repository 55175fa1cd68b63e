package simboard

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"strings"
	"testing"
	"time"

	"boardproof/capture"
)

var errEnough = errors.New("enough")

// listened joins what comes in over a number of blocks.
func listened(t *testing.T, s *Simboard, req capture.ListenRequest, blocks int) [][]float64 {
	t.Helper()
	all := make([][]float64, len(req.Inputs))
	n := 0
	err := s.Listen(context.Background(), req, func(b capture.Block) error {
		for i := range all {
			all[i] = append(all[i], b.Samples[i]...)
		}
		if b.LostFrames != 0 {
			t.Errorf("%d frames were lost", b.LostFrames)
		}
		if n++; n == blocks {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
	return all
}

// Over many blocks the mains turns on, the lines are as the truth says, and a
// condition is heard from the block on in which it is made.
func TestListenedHum(t *testing.T) {
	c := hummer(func(c *Config) {
		c.Unpaced = true
		c.Mains.StartHz = 49.5 // a block is no whole number of cycles, two seconds are
		c.Board.Outputs[1].Hum.GroundLoop = &GroundLoop{AmpsRMS: 0.1, ShieldOhms: 0.1, From: AmplifierAt("B")}
		c.device("delay").Tones = []Tone{{FrequencyHz: 2503.5, VoltsRMS: 3e-3}}
	})
	s := bench(t, c)
	asked := 0
	got := listened(t, s, capture.ListenRequest{Inputs: []int{2, 1}, Conditions: func() []capture.Condition {
		// Asked once before the first block.
		if asked++; asked > 21 {
			return []capture.Condition{is(capture.OutputUnplugged, "B"), is(capture.SupplyOff, "delay")}
		}
		return nil
	}}, 30)
	if len(got[0]) != 30*4800 {
		t.Fatalf("30 blocks are %d frames", len(got[0]))
	}
	line := func(row, from, to int, fHz float64) float64 {
		return cmplx.Abs(lockIn(got[row][from*4800:to*4800], fHz, 48000, 0)) * volts(12)
	}
	for _, n := range []int{1, 3, 13} {
		want := s.Truth().HumVolts("B", n)
		near(t, "harmonic over two seconds", line(0, 0, 20, 49.5*float64(n))/cmplx.Abs(c.Interface.Inputs[1].response(49.5*float64(n), 48000)), want, 1e-3*want+1e-8)
		near(t, "harmonic after it was unplugged", line(0, 20, 30, 49.5*float64(n)), 0, 1e-7)
	}
	near(t, "tone over two seconds", line(1, 0, 20, 2503.5), 3e-3, 1e-6)
	near(t, "tone after its supply was off", line(1, 20, 30, 2503.5), 0, 1e-7)
	near(t, "the bench's time in s", s.elapsedS, 3, 1e-9)
}

// The noise of many blocks has the density of the truth, at each place in a
// block; its spread over 3 s in a band of 1 kHz is 1.8 %.
func TestListenedNoise(t *testing.T) {
	c := mustReady(t, "good")
	c.Unpaced = true
	s := bench(t, c)
	got := listened(t, s, capture.ListenRequest{Inputs: []int{1}}, 60)[0]
	tr := newTransform(len(got), 48000)
	bins := tr.forward(got)
	band := func(lowHz, highHz float64) float64 {
		sum, n := 0.0, 0
		for k := int(lowHz / tr.stepHz()); k < int(highHz/tr.stepHz()); k++ {
			sum += square(bins[k])
			n++
		}
		peak := volts(s.Truth().InputFullScaleDBu(1)) * math.Sqrt2
		return sum / float64(n) * 2 / 48000 / float64(len(got)) * peak * peak
	}
	for _, f := range []float64{1025, 5025, 15025} { // between lines of the hum, mostly under the noise
		want := s.Truth().RecordedNoiseDensity(capture.ToBoard, 1, f)
		near(t, "density over the truth's", band(f-500, f+500)/want, 1, 0.06)
	}
	// With the mains far under the hiss the power is the same all over a block.
	power := make([]float64, 4)
	for i, v := range got {
		power[i%4800/1200] += v * v
	}
	for _, p := range power {
		near(t, "power over the first quarter's", p/power[0], 1, 0.05)
	}
}

// By the clock it takes its time, and ends with its context.
func TestListenIsPaced(t *testing.T) {
	s := bench(t, mustReady(t, "good"))
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	began, blocks := time.Now(), 0
	err := s.Listen(ctx, capture.ListenRequest{Inputs: []int{1, 2}, Patch: capture.Terminated}, func(b capture.Block) error {
		if blocks++; blocks == 4 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || blocks != 4 {
		t.Errorf("%d blocks and %v", blocks, err)
	}
	if took := time.Since(began); took < 390*time.Millisecond {
		t.Errorf("0.4 s took %v", took)
	}
}

// Who lags far behind loses frames, and is told how many.
func TestListenerWhoLags(t *testing.T) {
	l, err := bench(t, mustReady(t, "good")).newListening(capture.ListenRequest{Inputs: []int{1}})
	if err != nil {
		t.Fatal(err)
	}
	l.began = l.began.Add(-5 * time.Second)
	if lost, err := l.wait(context.Background()); lost != 0 || err != nil {
		t.Errorf("5 s behind: %d frames lost, %v", lost, err)
	}
	l.began = l.began.Add(-5 * time.Second)
	lost, err := l.wait(context.Background())
	if err != nil || lost < 9*48000 || l.done != lost {
		t.Errorf("10 s behind: %d frames lost, at frame %d, %v", lost, l.done, err)
	}
}

func TestListenRefuses(t *testing.T) {
	s := bench(t, mustReady(t, "good"))
	for want, req := range map[string]capture.ListenRequest{
		"no input":        {},
		"input 3 does":    {Inputs: []int{3}},
		`patch "sideways`: {Inputs: []int{1}, Patch: "sideways"},
		`no output "C"`:   {Inputs: []int{1}, Conditions: func() []capture.Condition { return []capture.Condition{is(capture.OutputUnplugged, "C")} }},
	} {
		err := s.Listen(context.Background(), req, func(capture.Block) error { return errEnough })
		if err == nil || errors.Is(err, errEnough) || !strings.Contains(err.Error(), want) {
			t.Errorf("error is %v, want one with %s", err, want)
		}
	}
}
