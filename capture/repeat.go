package capture

import (
	"cmp"
	"math"
	"slices"
)

// Repeated is a stretch of a channel that is, sample for sample, what was
// recorded Lag frames before.
type Repeated struct {
	Start, Frames, Lag int
}

const (
	// repeatWindow is how many equal frames make a candidate: half of the
	// shortest block that hosts work in. So many of them must differ from the
	// frame before, or it is a pause and no evidence.
	repeatWindow  = 32
	repeatChanges = 4
	// repeatMinBits is by how many bits a repetition must be less likely than
	// one that comes by chance once in a take: one good take in a thousand.
	repeatMinBits = 10.0
	// repeatMostBits bounds what one frame may count for.
	repeatMostBits = 3.0
	// repeatTableBits bounds the memory: 16 MB remember the last four million
	// windows.
	repeatTableBits = 22
	// repeatLags bounds how many lags are looked at closely.
	repeatLags = 64
)

// FindRepeated returns where x repeats itself although what was played does
// not, or although its noise never would: blocks that a host handed over a
// second time. played is what was played, its frame 0 at frame offset of x;
// nil where nothing was.
//
// A converter's noise never repeats. A path without noise, in which a digital
// output is its own input, repeats what was played as often as it was played.
// So a repetition counts for as much as frames in it would differ by chance,
// and how often they agree by chance the recording says itself at the same
// lag: where what was played repeats, and where it does not.
func FindRepeated(x, played []float64, offset int) []Repeated {
	return findRepeated(x, played, offset, true)
}

// findRepeated is FindRepeated; live is false for a file. What was rounded to
// 16 bits and then taken to another rate looks as if it had noise, and repeats
// itself wherever rounding does. There a tone that repeats in step with itself,
// which does no harm, is no evidence.
func findRepeated(x, played []float64, offset int, live bool) []Repeated {
	byLag := map[int][]Repeated{}
	for _, r := range equalRuns(x) {
		byLag[r.Lag] = append(byLag[r.Lag], r)
	}
	if len(byLag) == 0 {
		return nil
	}
	lags := make([]int, 0, len(byLag))
	for lag := range byLag {
		lags = append(lags, lag)
	}
	longest := func(lag int) (n int) {
		for _, r := range byLag[lag] {
			n = max(n, r.Frames)
		}
		return n
	}
	slices.SortFunc(lags, func(a, b int) int { return cmp.Or(longest(b)-longest(a), a-b) })
	var found []Repeated
	c := newComparison(x, played, offset)
	c.live = live
	for _, lag := range lags[:min(len(lags), repeatLags)] {
		found = append(found, c.proven(lag, byLag[lag])...)
	}
	slices.SortFunc(found, func(a, b Repeated) int { return a.Start - b.Start })
	return apart(found)
}

// apart leaves out what lies within another.
func apart(sorted []Repeated) []Repeated {
	var kept []Repeated
	end := 0
	for _, r := range sorted {
		if r.Start+r.Frames > end {
			kept = append(kept, r)
			end = r.Start + r.Frames
		}
	}
	return kept
}

// equalRuns returns the stretches of at least repeatWindow frames that equal
// earlier ones, each with the latest of those. It finds them by a rolling hash
// of the window: Karp & Rabin, IBM J. Res. Dev. 31 (1987).
func equalRuns(x []float64) []Repeated {
	if len(x) <= repeatWindow {
		return nil
	}
	size := 1
	for size < repeatTableBits && 1<<size < 2*len(x) {
		size++
	}
	seen := make([]int32, 1<<size)
	const factor = 0x9E3779B97F4A7C15
	out := uint64(1)
	for range repeatWindow {
		out *= factor
	}
	var runs []Repeated
	var hash uint64
	changed, until := 0, 0
	for i, v := range x {
		hash = hash*factor + bitsOf(v)
		if i > 0 && v != x[i-1] {
			changed++
		}
		at := i - repeatWindow + 1
		if at > 0 {
			hash -= out * bitsOf(x[at-1])
			if x[at] != x[at-1] {
				changed--
			}
		}
		if at < 0 || changed < repeatChanges {
			continue
		}
		slot := &seen[(hash*factor)>>(64-size)]
		if from := int(*slot) - 1; from >= 0 && i >= until && equalWindow(x, from, at) {
			r := extend(x, from, at)
			runs, until = append(runs, r), r.Start+r.Frames
		}
		*slot = int32(at + 1)
	}
	return runs
}

// bitsOf spreads a sample's value; -0 is 0.
func bitsOf(v float64) uint64 { return math.Float64bits(v+0) * 0xD6E8FEB86659FD93 }

func equalWindow(x []float64, from, at int) bool {
	for i := range repeatWindow {
		if x[from+i] != x[at+i] {
			return false
		}
	}
	return true
}

// extend follows the equality of two windows to both sides.
func extend(x []float64, from, at int) Repeated {
	lag, start, end := at-from, at, at+repeatWindow
	for start > lag && x[start-1] == x[start-1-lag] {
		start--
	}
	for end < len(x) && x[end] == x[end-lag] {
		end++
	}
	return Repeated{Start: start, Frames: end - start, Lag: lag}
}
