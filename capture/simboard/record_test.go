package simboard

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/capture"
	"boardproof/testsignals"
)

// What a lock-in finds in the samples against Truth.SampleResponse: gain,
// phase with the fractional delay, polarity, in every patch and at both
// ladders' loads.
func TestSamplesAgreeWithTruth(t *testing.T) {
	worst := 0.0
	for name, frequencies := range map[string][]float64{"dull": {40, 15002}, "flipped-split": {1002, 21502}} {
		ready, err := Ready(name)
		if err != nil {
			t.Fatal(err)
		}
		c := silenced(ready)
		c.Interface.Inputs[1].Ohms = 10e3 // so that swapping shows
		c.Interface.LeadOhms = []float64{3, 40}
		s := bench(t, c)
		if err := s.SetInputGainDB(2, -3.5); err != nil {
			t.Fatal(err)
		}
		if err := s.SetOutputGainDB(-1.5); err != nil {
			t.Fatal(err)
		}
		truth := s.Truth()
		for _, hz := range frequencies {
			// Long enough for the ends of tone and marks to die away at 2 Hz.
			spec := testsignals.New(testsignals.Tone, c.RateHz, -6, 3)
			spec.FrequencyHz = hz
			sig := signal(t, spec)
			played, first := inBody(sig, sig.Samples)
			in := lockIn(played, hz, 48000, first)
			for _, patch := range []capture.Patch{capture.ToBoard, capture.Swapped, capture.Loopback, capture.LoopbackSwapped} {
				got := take(t, s, sig, patch, "")
				for ch := range got.Samples {
					x, _ := inBody(sig, got.Samples[ch])
					h := lockIn(x, hz, 48000, first) / in
					want := truth.SampleResponse(patch, ch+1, hz)
					d := cmplx.Abs(h-want) / cmplx.Abs(want)
					worst = math.Max(worst, d)
					// Of the order of a 24-bit step, 1.2e-7.
					if !(d < 1e-7) {
						t.Errorf("%s, %s, input %d, %g Hz: off by %.2g of itself", name, patch, ch+1, hz, d)
					}
				}
			}
		}
	}
	t.Logf("worst deviation from truth: %.2g of itself", worst)
}

// The frequency-domain path against the circuit's own differential equations,
// integrated by Runge and Kutta's fourth-order method on the continuous
// waveform: a tone burst through 10 kΩ into 1.5 nF (and the bare buffer's
// 1 GΩ) and the interface's high-pass.
func TestSamplesAgreeWithTheDifferentialEquation(t *testing.T) {
	c := bare()
	c.Board.Source.Ohms, c.Board.CableFarads = 10e3, 1.5e-9
	c.Interface.Inputs[0].CouplingHz = 30
	spec := testsignals.New(testsignals.Tone, 48000, -1, 0.3)
	spec.FrequencyHz = 3000
	sig := signal(t, spec)
	got := take(t, bench(t, c), sig, capture.ToBoard, "").Samples[0]

	wave := func(seconds float64) float64 { // testsignals' tone, between samples too
		edge := math.Min(seconds, 0.3-seconds) / 0.05
		if edge <= 0 {
			return 0
		}
		gain := 0.5 - 0.5*math.Cos(math.Pi*math.Min(edge, 1))
		return gain * spec.Amplitude() * math.Sin(2*math.Pi*3000*seconds)
	}
	rc, hp := 1/(10e3*1.5e-9), 2*math.Pi*30
	slope := func(at float64, v [2]float64) [2]float64 { // RC's voltage, coupling capacitor's voltage
		return [2]float64{rc * (wave(at) - v[0]*(1+10e3/1e9)), hp * (v[0] - v[1])}
	}
	const substeps = 16
	h := 1.0 / 48000 / substeps
	var v [2]float64
	worst := 0.0
	// The run-in and marks before have died away; frame 0 here is the body's.
	for i := range substeps * (sig.Body.Len() + 2000) {
		at := float64(i) * h
		if i%substeps == 0 {
			worst = math.Max(worst, math.Abs(got[sig.Body.Start+i/substeps]-(v[0]-v[1])))
		}
		v = rungeKutta(slope, at, v, h)
	}
	t.Logf("worst deviation from the differential equation: %.2g of full scale", worst)
	if !(worst < 1e-6) {
		t.Errorf("worst deviation %.2g of full scale, want below 1e-6", worst)
	}
}

func rungeKutta(slope func(float64, [2]float64) [2]float64, at float64, v [2]float64, h float64) [2]float64 {
	along := func(k [2]float64, share float64) [2]float64 { return [2]float64{v[0] + share*k[0], v[1] + share*k[1]} }
	a := slope(at, v)
	b := slope(at+h/2, along(a, h/2))
	c := slope(at+h/2, along(b, h/2))
	d := slope(at+h, along(c, h))
	for i := range v {
		v[i] += h / 6 * (a[i] + 2*b[i] + 2*c[i] + d[i])
	}
	return v
}

func TestTakeIsWhole(t *testing.T) {
	c, err := Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 5, 6, 7, 8, 9, 0, time.FixedZone("", 7200))
	c.Now = func() time.Time { return at }
	s := bench(t, c)
	sig := toneSignal(t, c.RateHz, -12, 1000)
	var reports []capture.Progress
	got, err := s.Record(context.Background(), capture.Request{
		Signal: sig, Outputs: []int{1}, Inputs: []int{2}, Patch: capture.ToBoard, State: "fuzz, delay",
		Progress: func(p capture.Progress) { reports = append(reports, p) },
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Samples) != 1 || len(got.Samples[0]) < sig.Frames+254 {
		t.Errorf("%d rows of %d frames for a signal of %d", len(got.Samples), len(got.Samples[0]), sig.Frames)
	}
	if !got.Started.Equal(at) || got.Started.Location() != time.UTC || !got.Instrument.Simulated || got.Signal != sig.Spec || got.State != "fuzz, delay" {
		t.Errorf("take says %+v", got)
	}
	if len(reports) < 2 || reports[len(reports)-1].Seconds != reports[0].OfSeconds || len(reports[0].PeakDBFS) != 1 {
		t.Errorf("progress was %+v", reports)
	}
}

func TestSameSeedSameSamples(t *testing.T) {
	c, err := Ready("intermittent")
	if err != nil {
		t.Fatal(err)
	}
	sig := toneSignal(t, c.RateHz, -12, 1000)
	s, again := bench(t, c), bench(t, c)
	c.Seed++
	other := take(t, bench(t, c), sig, capture.ToBoard, "")
	first, second := take(t, s, sig, capture.ToBoard, ""), take(t, s, sig, capture.ToBoard, "")
	for i, want := range []*capture.Take{first, second} {
		if got := take(t, again, sig, capture.ToBoard, ""); !slices.Equal(got.Samples[0], want.Samples[0]) || !slices.Equal(got.Samples[1], want.Samples[1]) {
			t.Errorf("take %d differs between two benches of one seed", i+1)
		}
	}
	if slices.Equal(first.Samples[0], second.Samples[0]) || slices.Equal(first.Samples[0], other.Samples[0]) {
		t.Error("two takes, or two seeds, gave the same samples")
	}
}

func TestRefusedRequests(t *testing.T) {
	c, err := Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	s := bench(t, c)
	sig, fast := toneSignal(t, 48000, -12, 1000), toneSignal(t, 96000, -12, 1000)
	for _, x := range []struct {
		req  capture.Request
		want string
	}{
		{capture.Request{Outputs: []int{1}, Inputs: []int{1}}, "no signal"},
		{capture.Request{Signal: sig, Outputs: []int{1}}, "no input"},
		{capture.Request{Signal: sig, Inputs: []int{1}}, "no output"},
		{capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 3}}, "input 3 does not exist"},
		{capture.Request{Signal: sig, Outputs: []int{0}, Inputs: []int{1}}, "output 0 does not exist"},
		{capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 1}}, "input 1 is asked for twice"},
		{capture.Request{Signal: fast, Outputs: []int{1}, Inputs: []int{1}}, "96000 Hz"},
		{capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}, Patch: "sideways"}, `patch "sideways"`},
		{capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}, State: "fuzz,flux"}, `no device "flux"`},
	} {
		got, err := s.Record(context.Background(), x.req)
		if got != nil || err == nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("got %v and error %v, want one with %q", got, err, x.want)
		}
	}
}

func TestCancelled(t *testing.T) {
	c, err := Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1000)
	ctx, cancel := context.WithCancel(context.Background())
	req := capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}, Progress: func(capture.Progress) { cancel() }}
	for _, when := range []string{"in", "before"} {
		if got, err := s.Record(ctx, req); got != nil || !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled %s the take: got %v and %v", when, got, err)
		}
	}
}

// A clock that is fast by p ppm takes a tone down by that ratio: the samples
// are the same sine, at f/(1+p·1e-6), to the converter's steps.
func TestClockError(t *testing.T) {
	c := bare()
	c.Interface.ClockPPM, c.Interface.LatencyFrames = 87, 100.25
	s := bench(t, c)
	sig := toneSignal(t, 48000, -6, 17000)
	got := take(t, s, sig, capture.Loopback, "").Samples[0]
	ratio := 1 / (1 + 87e-6)
	h := s.Truth().SampleResponse(capture.Loopback, 1, 17000)
	worst := 0.0
	for i := sig.Body.Start + 12000; i < sig.Body.Start+36000; i++ {
		at := float64(i)*ratio - float64(sig.Body.Start)
		want := imag(h * cmplx.Rect(sig.Amplitude(), 2*math.Pi*17000*at/48000))
		worst = math.Max(worst, math.Abs(got[i]-want))
	}
	t.Logf("worst deviation: %.2g of full scale", worst)
	if !(worst < 2e-7) {
		t.Errorf("worst deviation %.2g of full scale, want two 24-bit steps", worst)
	}
}

// A spectrum through the chirp transform at no clock error is its inverse.
func TestStretchedByNothing(t *testing.T) {
	tr := newTransform(240, 48000)
	x := make([]float64, 240)
	for i := range x {
		x[i] = math.Sin(0.3*float64(i)) + float64(i%7)
	}
	bins := tr.forward(x)
	bins[120] = 0 // half the rate itself is no tone with a phase
	want := tr.inverse(bins)
	for i, v := range tr.stretched(bins, 200, 0) {
		near(t, "frame", v, want[i], 1e-12)
	}
}
