package instrumenttest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"boardproof/capture"
)

// wire is the least instrument that there can be: a piece of wire that is
// faster than real time, to see that the test itself can be passed.
type wire struct{}

func (wire) Describe() capture.Description {
	return capture.Description{Kind: "wire", Device: "wire", RateHz: 48000, Inputs: 2, Outputs: 1, Simulated: true}
}

func (w wire) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	d := w.Describe()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("stopped before it began: %w", err)
	}
	if req.Signal == nil {
		return nil, fmt.Errorf("no signal to play")
	}
	if req.Signal.RateHz != d.RateHz {
		return nil, fmt.Errorf("the signal is for %d Hz, the wire runs at %d Hz", req.Signal.RateHz, d.RateHz)
	}
	for kind, c := range map[string]struct {
		asked []int
		exist int
	}{"input": {req.Inputs, d.Inputs}, "output": {req.Outputs, d.Outputs}} {
		if len(c.asked) == 0 {
			return nil, fmt.Errorf("no %s asked for", kind)
		}
		for _, n := range c.asked {
			if n < 1 || n > c.exist {
				return nil, fmt.Errorf("%s %d does not exist", kind, n)
			}
		}
	}
	take := &capture.Take{
		Signal: req.Signal.Spec, RateHz: d.RateHz, Inputs: req.Inputs, Outputs: req.Outputs,
		Patch: req.Patch, State: req.State, Conditions: req.Conditions, Started: time.Now().UTC(), Instrument: d,
	}
	for range req.Inputs {
		take.Samples = append(take.Samples, append(make([]float64, 100), req.Signal.Samples...))
	}
	if req.Progress != nil {
		req.Progress(capture.Progress{Seconds: 1, OfSeconds: 1, PeakDBFS: make([]float64, len(req.Inputs))})
	}
	return take, nil
}

func TestWirePasses(t *testing.T) {
	Run(t, func(*testing.T) capture.Instrument { return wire{} }, Options{})
}
