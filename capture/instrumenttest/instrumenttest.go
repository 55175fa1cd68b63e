// Package instrumenttest is the one test that every capture.Instrument runs:
// what Record may return, as the Instrument's own doc comment numbers it.
//
// In this room: the contract of an Instrument, whichever it is. Not in this
// room: whether a take is good (capture.Check) or true to a board, and what
// only one instrument can do.
package instrumenttest

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"boardproof/capture"
	"boardproof/testsignals"

	"go.uber.org/goleak"
)

// Options say what may be asked of one instrument. The zero value suits an
// instrument that plays anything on its output 1, passes it to all of its
// inputs, and may be faster than real time.
type Options struct {
	// Signal is what is played; nil means a short tone.
	Signal *testsignals.Signal
	// Outputs and Inputs to use, from 1; nil means output 1 and all inputs.
	Outputs, Inputs []int
	// Playback is true when nothing is played because the recording exists
	// already: output channels are then not checked.
	Playback bool
	// RealTime is true when a take lasts as long as its signal. A cancelled
	// take must then fail, and Started lie within the test.
	RealTime bool
	// Mute is true when the signal does not come back on the inputs.
	Mute bool
}

// Run tests the instruments that open returns; it is called once for each
// subtest and arranges for closing with t.Cleanup.
func Run(t *testing.T, open func(t *testing.T) capture.Instrument, opts Options) {
	for _, sub := range []struct {
		name string
		test func(*testing.T, *fixture)
	}{
		{"take is whole, description stable", testWhole},
		{"progress is reported and ends with Record", testProgress},
		{"bad requests are refused", testRefusals},
		{"context ended beforehand", testCancelledBefore},
		{"context ends midway", testCancelledMidway},
	} {
		t.Run(sub.name, func(t *testing.T) {
			// Registered first, so that it looks after open's own cleanups.
			before := goleak.IgnoreCurrent()
			t.Cleanup(func() { goleak.VerifyNone(t, before) })
			sub.test(t, newFixture(t, open(t), opts))
		})
	}
}

// fixture is an instrument and a request that it should fulfil.
type fixture struct {
	inst capture.Instrument
	opts Options
	req  capture.Request
}

func newFixture(t *testing.T, inst capture.Instrument, opts Options) *fixture {
	t.Helper()
	d := inst.Describe()
	sig := opts.Signal
	if sig == nil {
		sig = shortTone(t, d.RateHz)
	}
	outputs, inputs := opts.Outputs, opts.Inputs
	if outputs == nil {
		outputs = []int{1}
	}
	for c := 1; opts.Inputs == nil && c <= d.Inputs; c++ {
		inputs = append(inputs, c)
	}
	return &fixture{inst, opts, capture.Request{
		Signal: sig, Outputs: outputs, Inputs: inputs, Patch: capture.ToBoard, State: "conformance",
		Conditions: []capture.Condition{{Change: capture.OutputUnplugged, Subject: "A"}},
	}}
}

// shortTone is as short as a signal may be, because a sound card plays it in
// real time in each subtest.
func shortTone(t *testing.T, rateHz int) *testsignals.Signal {
	t.Helper()
	spec := testsignals.New(testsignals.Tone, rateHz, -12, 0.3)
	spec.LeadS, spec.TailS = 0.1, 0.1
	sig, err := testsignals.Generate(spec)
	if err != nil {
		t.Fatalf("making a signal for %d Hz: %v", rateHz, err)
	}
	return sig
}

// record fulfils f's own request or ends the test.
func (f *fixture) record(t *testing.T) *capture.Take {
	t.Helper()
	take, err := f.inst.Record(context.Background(), f.req)
	if err != nil {
		t.Fatalf("Record: %v", err)
	}
	if take == nil {
		t.Fatal("Record returned neither a take nor an error")
	}
	return take
}

func testWhole(t *testing.T, f *fixture) {
	played := slices.Clone(f.req.Signal.Samples)
	d := f.inst.Describe()
	if d.Kind == "" || d.Device == "" || d.RateHz <= 0 || d.Inputs <= 0 {
		t.Errorf("description says too little: %+v", d)
	}
	before := time.Now()
	take := f.record(t)
	f.checkTake(t, take)
	if f.opts.RealTime && (take.Started.Before(before) || take.Started.After(time.Now())) {
		t.Errorf("Started is %v, Record ran from %v to %v", take.Started, before, time.Now())
	}
	if !slices.Equal(f.req.Signal.Samples, played) {
		t.Error("Record changed the signal it was given")
	}
	if after := f.inst.Describe(); after != d {
		t.Errorf("the description changed with a take from %+v to %+v", d, after)
	}
}

func testProgress(t *testing.T, f *fixture) {
	calls, returned, previous := 0, false, -1.0
	f.req.Progress = func(p capture.Progress) {
		calls++
		if returned {
			t.Error("Progress was called after Record had returned")
		}
		if p.Seconds < previous || p.OfSeconds <= 0 || p.Seconds > p.OfSeconds*1.001 {
			t.Errorf("Progress goes from %g to %g s of %g s", previous, p.Seconds, p.OfSeconds)
		}
		if len(p.PeakDBFS) != len(f.req.Inputs) {
			t.Errorf("Progress has %d peaks for %d inputs", len(p.PeakDBFS), len(f.req.Inputs))
		}
		previous = p.Seconds
	}
	f.record(t)
	returned = true
	if calls == 0 {
		t.Error("Progress was never called")
	}
	time.Sleep(300 * time.Millisecond) // a report "a few times a second" would come by now
}

func testCancelledBefore(t *testing.T, f *fixture) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	take, err := f.inst.Record(ctx, f.req)
	if take != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("Record under a cancelled context returned %v, %v; want nil and context.Canceled wrapped", take != nil, err)
	}
	f.checkTake(t, f.record(t))
}

func testCancelledMidway(t *testing.T, f *fixture) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var cancelled time.Time
	req := f.req
	req.Progress = func(capture.Progress) {
		if cancelled.IsZero() {
			cancelled = time.Now()
			cancel()
		}
	}
	take, err := f.inst.Record(ctx, req)
	late := time.Since(cancelled)
	switch {
	case cancelled.IsZero():
		t.Fatal("Progress was never called, so the context was not cancelled")
	case take == nil && !errors.Is(err, context.Canceled):
		t.Errorf("Record returned %v; want context.Canceled wrapped", err)
	case take != nil && (err != nil || f.opts.RealTime):
		t.Errorf("Record returned a take and error %v although its context was cancelled midway", err)
	}
	// Well beyond what a busy machine needs; one that hangs does not return at all.
	if late > 2*time.Minute {
		t.Errorf("Record returned %v after its context ended", late)
	}
	f.checkTake(t, f.record(t))
}
