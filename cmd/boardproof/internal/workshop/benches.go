package workshop

import (
	"context"
	"maps"
	"slices"

	"boardproof/calibration"
	"boardproof/db"
)

// BenchState is a bench and its latest profile, nil where it was not calibrated.
type BenchState struct {
	Bench   db.Bench             `json:"bench"`
	Profile *calibration.Profile `json:"profile"`
}

// BenchState is how a bench stands.
func (w *Workshop) BenchState(ctx context.Context, b db.Bench) (BenchState, error) {
	p, err := w.LatestProfile(ctx, b.Name)
	return BenchState{b, p}, err
}

// Benches are all of them. There is an error where there is none.
func (w *Workshop) Benches(ctx context.Context) ([]BenchState, error) {
	all, err := w.Store.Benches(ctx)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		_, err := w.ChooseBench(ctx, "")
		return nil, err
	}
	states := make([]BenchState, len(all))
	for i, b := range all {
		if states[i], err = w.BenchState(ctx, b); err != nil {
			return nil, err
		}
	}
	return states, nil
}

// TryBench opens a bench's device and makes sure that its channels are there. It
// needs no store.
func (w *Workshop) TryBench(b db.Bench) error {
	if b.MainsHz != 0 && b.MainsHz != 50 && b.MainsHz != 60 {
		return fieldf("mains", " %d is neither 50 nor 60", b.MainsHz)
	}
	in, closeDevice, err := w.open(b, Simulation{})
	if err != nil {
		return err
	}
	d := in.Describe()
	if err := closeDevice(); err != nil {
		return unmeasured(err)
	}
	if b.Output < 1 || b.Output > d.Outputs {
		return invalidf("%s has outputs 1 to %d, not %d", d.Device, d.Outputs, b.Output)
	}
	for _, o := range slices.Sorted(maps.Keys(b.Inputs)) {
		if channel := b.Inputs[o]; channel > d.Inputs {
			return invalidf("%s has inputs 1 to %d, not %d", d.Device, d.Inputs, channel)
		}
	}
	return nil
}

// SetBench sets a bench up, or changes it.
func (w *Workshop) SetBench(ctx context.Context, b db.Bench) error { return w.Store.SetBench(ctx, b) }
