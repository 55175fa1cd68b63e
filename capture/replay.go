package capture

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// A host that misses a cycle may play a block once more in place of the next
// one. What comes back is then what came a block before, though the noise is
// new: no sample is the same, and all marks fit. Some boards do the like, a fuzz
// or a long echo, so this is looked for only where the host says that it missed
// a cycle: its flags alone are not believed.
//
// replayLags are the distances looked at, in frames: blocks, and two of them,
// as hosts and drivers have them. Common practice, no source.
var replayLags = []int{64, 96, 128, 192, 240, 256, 384, 441, 480, 512, 768, 882, 960, 1024, 1536, 1764, 1920, 2048, 3072, 4096, 8192}

const (
	// replayCell is in frames: energies are taken over so many at a time.
	replayCell = 16
	// replayLeastCells is the shortest replay that is found, three quarters of
	// the shortest block.
	replayLeastCells = 3
	// In a replay the difference from lag frames before has at most
	// replaySame of the energy of both. Within replayGapCells of it the
	// difference has at least replayOther. A swept tone, through whatever is
	// linear, drifts in and out of step with itself too slowly for both: 0.045 rad
	// of phase over 48 frames is at most 0.18 rad 48 frames on, 0.016 of the energy.
	replaySame     = 0.001
	replayOther    = 0.1
	replayGapCells = 3
)

// findReplayed returns where x is, but for its noise, what it was some frames
// before, and begins and ends to be so at once, while what was played is not.
func findReplayed(x, played []float64, offset int) (found []Repeated) {
	changes := differences(x)
	asPlayed := make([]float64, len(x))
	fill(asPlayed, differences(played), -offset)
	for _, lag := range replayLags {
		same := likeness(changes, lag)
		given := likeness(asPlayed, lag)
		for k := 0; k < len(same); k++ {
			end := k
			for end < len(same) && same[end] <= replaySame {
				end++
			}
			if end-k >= replayLeastCells && otherBeside(same, k, end) && floats.Sum(given[k:end]) >= replayOther*float64(end-k) {
				found = append(found, Repeated{Start: k * replayCell, Frames: (end - k) * replayCell, Lag: lag})
			}
			k = max(k, end-1)
		}
	}
	slices.SortFunc(found, func(a, b Repeated) int { return a.Start - b.Start })
	return found
}

// otherBeside says whether the cells before from and behind to differ.
func otherBeside(same []float64, from, to int) bool {
	other := func(a, b int) bool {
		return a >= 0 && b <= len(same) && slices.ContainsFunc(same[a:b], func(r float64) bool { return r >= replayOther })
	}
	return other(from-replayGapCells, from) && other(to, to+replayGapCells)
}

// differences returns the change from each frame to the next: hum, and the flat
// tops of a distorted wave, are small in it.
func differences(x []float64) []float64 {
	d := make([]float64, len(x))
	for i := 1; i < len(x); i++ {
		d[i] = x[i] - x[i-1]
	}
	return d
}

// likeness returns, for each cell of x, the energy of its difference from what
// was lag frames before over that of both: 0 where they are the same, 1 where
// they have nothing in common, and 1 where there is nothing.
func likeness(x []float64, lag int) []float64 {
	cells := make([]float64, len(x)/replayCell)
	for k := range cells {
		cells[k] = 1
		if k*replayCell < lag {
			continue
		}
		var both, apart float64
		for i := k * replayCell; i < (k+1)*replayCell; i++ {
			a, b := x[i], x[i-lag]
			both += a*a + b*b
			apart += (a - b) * (a - b)
		}
		if both > 0 {
			cells[k] = apart / both
		}
	}
	return cells
}

// merged makes one of those that overlap or follow within their lag: a tone is
// the same at several lags, and what follows is compared with the replay itself.
func merged(sorted []Repeated) (out []Repeated) {
	for _, r := range sorted {
		if n := len(out); n > 0 && r.Start <= out[n-1].Start+out[n-1].Frames+r.Lag {
			if r.Frames > out[n-1].Frames {
				out[n-1] = r
			}
			continue
		}
		out = append(out, r)
	}
	return out
}

// inAll returns those of the first list that all others have too: a host plays
// and records all channels at once.
func inAll(lists [][]Repeated) (all []Repeated) {
	if len(lists) == 0 {
		return nil
	}
	for _, r := range lists[0] {
		near := func(o Repeated) bool { return o.Lag == r.Lag && math.Abs(float64(o.Start-r.Start)) <= 2*replayCell }
		if !slices.ContainsFunc(lists[1:], func(l []Repeated) bool { return !slices.ContainsFunc(l, near) }) {
			all = append(all, r)
		}
	}
	return all
}
