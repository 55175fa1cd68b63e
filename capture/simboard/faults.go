package simboard

import (
	"fmt"
	"math"
	"slices"
)

// Faults are what the interface does wrong in one take.
type Faults struct {
	Lost     []LostFrames
	Stuck    []StuckSamples
	Repeated []RepeatedFrames
}

// RepeatedFrames are frames of every input in whose place those just before
// come once more, as when a host misses a cycle: the take stays as long.
type RepeatedFrames struct {
	AtS    float64
	Frames int
}

// LostFrames are frames that are missing from every input.
type LostFrames struct {
	AtS    float64
	Frames int
}

// StuckSamples is an input that repeats one sample.
type StuckSamples struct {
	Input  int // from 1
	AtS    float64
	Frames int
}

// Queue makes the interface fail in the next takes: each call is for one
// take more.
func (s *Simboard) Queue(f Faults) error {
	for _, l := range f.Lost {
		if l.Frames < 1 || l.Frames > s.cfg.RateHz || !within(l.AtS, 0, math.MaxFloat64) {
			return fmt.Errorf("queueing a fault: %d frames lost at %g s must be 1 frame to 1 s, from 0 s on", l.Frames, l.AtS)
		}
	}
	for _, k := range f.Stuck {
		if k.Frames < 1 || k.Input < 1 || k.Input > len(s.gainDB) || !within(k.AtS, 0, math.MaxFloat64) {
			return fmt.Errorf("queueing a fault: %d frames stuck in input %d at %g s must be 1 frame or more, in inputs 1 to %d, from 0 s on",
				k.Frames, k.Input, k.AtS, len(s.gainDB))
		}
	}
	for _, r := range f.Repeated {
		if r.Frames < 1 || r.Frames > s.cfg.RateHz || !within(r.AtS, float64(r.Frames)/float64(s.cfg.RateHz), math.MaxFloat64) {
			return fmt.Errorf("queueing a fault: %d frames repeated at %g s must be 1 frame to 1 s, with as many before", r.Frames, r.AtS)
		}
	}
	s.faults = append(s.faults, f)
	return nil
}

func (f *Faults) lost() int {
	sum := 0
	for _, l := range f.Lost {
		sum += l.Frames
	}
	return sum
}

// apply repeats, sticks and removes frames; times are before any are removed.
func (f *Faults) apply(samples [][]float64, inputs []int, rateHz float64) {
	for _, r := range f.Repeated {
		at := frameAt(r.AtS, rateHz)
		for _, x := range samples {
			if at < len(x) {
				copy(x[at:min(at+r.Frames, len(x))], x[at-r.Frames:])
			}
		}
	}
	for _, k := range f.Stuck {
		i := slices.Index(inputs, k.Input)
		at := frameAt(k.AtS, rateHz)
		if i < 0 || at >= len(samples[i]) {
			continue
		}
		x := samples[i][at:min(at+k.Frames, len(samples[i]))]
		for j := range x {
			x[j] = x[0]
		}
	}
	lost := slices.SortedFunc(slices.Values(f.Lost), func(a, b LostFrames) int {
		return frameAt(b.AtS, rateHz) - frameAt(a.AtS, rateHz)
	})
	for i := range samples {
		for _, l := range lost {
			at := min(frameAt(l.AtS, rateHz), len(samples[i])-l.Frames)
			samples[i] = slices.Delete(samples[i], at, at+l.Frames)
		}
	}
}

func frameAt(seconds, rateHz float64) int {
	return int(math.Min(seconds*rateHz, math.MaxInt32))
}
