package workshop

import (
	"context"
	"maps"
	"math"
	"slices"

	"boardproof/calibration"
	"boardproof/db"
)

// WatchRequest asks for the hum at a bench to be watched.
type WatchRequest struct {
	BenchUse
	// Patch says which channel holds which output; nil is as the bench says.
	Patch []calibration.Patching
	// Seconds is how long; 0 is until the context ends.
	Seconds float64
}

// Watch tells the hum at a bench, as it is now, again and again. Nothing is
// played or kept.
func (w *Workshop) Watch(ctx context.Context, r WatchRequest) error {
	if r.Seconds < 0 || math.IsNaN(r.Seconds) {
		return fieldf("seconds", " %g is no length of time", r.Seconds)
	}
	b, err := w.ChooseBench(ctx, r.Bench)
	if err != nil {
		return err
	}
	in, closeDevice, err := w.open(b, r.Simulation)
	if err != nil {
		return err
	}
	defer closeDevice() //nolint:errcheck // nothing of it is kept
	profile, err := w.LatestProfile(ctx, b.Name)
	if err != nil {
		return err
	}
	if r.Patch == nil {
		if r.Patch, err = allOutputs(b); err != nil {
			return err
		}
	}
	sit := w.connected(b, in, r.Patch, profile)
	if err := sit.CheckProfile(ctx); err != nil {
		return invalid(err)
	}
	return sit.WatchBoard(ctx, r.Seconds)
}

// allOutputs are those that the bench has an input for.
func allOutputs(b db.Bench) ([]calibration.Patching, error) {
	var all []calibration.Patching
	for _, o := range slices.Sorted(maps.Keys(b.Inputs)) {
		all = append(all, calibration.Patching{Output: o, Input: b.Inputs[o]})
	}
	if len(all) == 0 {
		return nil, invalidf("bench %q has no inputs: 'boardproof bench set %q --inputs A=CHANNEL,...'", b.Name, b.Name)
	}
	return all, nil
}
