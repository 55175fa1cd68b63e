package instrumenttest

import (
	"math"
	"slices"
	"testing"
	"time"

	"boardproof/capture"
	"boardproof/testsignals"
)

// checkTake checks return 1 of Record: one row per input, one length, the
// whole signal in it.
func (f *fixture) checkTake(t *testing.T, take *capture.Take) {
	t.Helper()
	req, d := f.req, f.inst.Describe()
	if len(take.Samples) != len(req.Inputs) {
		t.Fatalf("take has %d rows for %d inputs", len(take.Samples), len(req.Inputs))
	}
	for i, row := range take.Samples {
		if len(row) != len(take.Samples[0]) {
			t.Errorf("row %d has %d frames, row 0 has %d", i, len(row), len(take.Samples[0]))
		}
		if len(row) < req.Signal.Frames {
			t.Fatalf("row %d has %d frames, the signal has %d", i, len(row), req.Signal.Frames)
		}
		if k := slices.IndexFunc(row, notFinite); k >= 0 {
			t.Errorf("row %d frame %d is %g", i, k, row[k])
		}
		if !f.opts.Mute {
			checkMarks(t, i, row, req.Signal)
		}
	}
	if take.Signal != req.Signal.Spec || take.RateHz != d.RateHz || take.Instrument != d {
		t.Errorf("take says signal %+v at %d Hz from %+v; want %+v at %d Hz from %+v",
			take.Signal, take.RateHz, take.Instrument, req.Signal.Spec, d.RateHz, d)
	}
	if !slices.Equal(take.Inputs, req.Inputs) || !slices.Equal(take.Outputs, req.Outputs) && !f.opts.Playback {
		t.Errorf("take says inputs %v, outputs %v; want %v, %v", take.Inputs, take.Outputs, req.Inputs, req.Outputs)
	}
	if !slices.Equal(take.Conditions, req.Conditions) {
		t.Errorf("take says conditions %q, want %q", take.Conditions, req.Conditions)
	}
	if take.Patch != req.Patch || take.State != req.State {
		t.Errorf("take says patch %q, state %q; want %q, %q", take.Patch, take.State, req.Patch, req.State)
	}
	if take.Started.IsZero() || take.Started.Location() != time.UTC {
		t.Errorf("Started is %v in %v; want a time in UTC", take.Started, take.Started.Location())
	}
}

func notFinite(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }

// lostS is how many seconds of lost or added frames are none of this test's
// business: a machine under load drops blocks, and capture.Check finds that.
const lostS = 0.1

// checkMarks makes sure that the first and the last timing mark are in the
// row, not before they were played and the whole length apart. Where a mark
// is, the row looks most like it, upright or inverted.
func checkMarks(t *testing.T, row int, x []float64, sig *testsignals.Signal) {
	t.Helper()
	mark := testsignals.Mark(sig.RateHz)
	lost := int(lostS * float64(sig.RateHz))
	first, last := sig.Marks[0].Start, sig.Marks[3].Start
	slack := len(x) - sig.Frames
	at, like := alike(x, mark, first, first+slack)
	end, likeEnd := alike(x, mark, at+last-first-lost, at+last-first+lost)
	if like < 0.5 || likeEnd < 0.5 {
		t.Errorf("row %d: the first and last timing marks look like those played to %.2f and %.2f of 1; the signal is not wholly there",
			row, like, likeEnd)
	}
	if end+len(mark) > len(x) {
		t.Errorf("row %d: the last timing mark ends at frame %d of %d", row, end+len(mark), len(x))
	}
}

// alike returns where, from frame from to frame to, the samples of x are
// most like shape, and the magnitude of their correlation coefficient there,
// 0 to 1. Of places that are nearly as like, as two marks of a pair are, it
// takes the earliest.
func alike(x, shape []float64, from, to int) (at int, coefficient float64) {
	from, to = max(from, 0), min(to, len(x)-len(shape))
	shapeEnergy, best := energy(shape), 0.0
	c := make([]float64, max(to-from+1, 0))
	for k := range c {
		part := x[from+k : from+k+len(shape)]
		dot := 0.0
		for i, v := range shape {
			dot += v * part[i]
		}
		if e := energy(part); e > 0 {
			c[k] = math.Abs(dot) / math.Sqrt(e*shapeEnergy)
		}
		best = max(best, c[k])
	}
	k := slices.IndexFunc(c, func(v float64) bool { return v >= 0.9*best })
	if k < 0 {
		return from, 0
	}
	return from + k, c[k]
}

func energy(x []float64) float64 {
	e := 0.0
	for _, v := range x {
		e += v * v
	}
	return e
}
