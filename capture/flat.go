package capture

import "math"

// Plateaus shorter than this many frames are no proof of clipping, and steps
// beside them smaller than so many codes none either: a slow sine in PCM
// dwells on its highest code and leaves it by one code at a time.
const (
	clipFrames    = 3
	clipStepCodes = 8
	// Noise of a dozen codes gives the highest sample of a take two neighbours like it
	// once in some thousand takes: a plateau that is the only one at its level must be
	// so long.
	clipFramesAlone = 5
	// fullScale is the highest code of 16-bit PCM, where two equal samples
	// are enough.
	fullScale       = 1 - 1.0/(1<<15)
	clipFramesFull  = 2
	floatResolution = 1.0 / (1 << 23)
)

// run is a stretch of samples that are exactly equal.
type run struct{ start, end int }

func (r run) len() int { return r.end - r.start }

// eachRun calls f for each run of at least least equal samples.
func eachRun(x []float64, least int, f func(run)) {
	for start := 0; start < len(x); {
		end := start + 1
		for end < len(x) && x[end] == x[start] {
			end++
		}
		if end-start >= least {
			f(run{start, end})
		}
		start = end
	}
}

// clipping is what findClipped saw.
type clipping struct {
	frames int
	first  int // frame at which the first plateau begins
	level  float64
}

// findClipped counts the frames of x that sit on a flat top: runs of equal
// samples at the highest or the lowest value of the whole recording, be it
// full scale or less, as when a clipped recording was turned down. A plateau
// below full scale counts only if the signal comes to it and leaves it in a
// steep step, which a smooth peak in few codes does not, and only if there are
// more at the same level or it is long. What an analogue
// stage clipped before a converter with noise is never exactly flat and is
// not found here.
func findClipped(x []float64) clipping {
	lo, hi, code := extent(x)
	plateaus := map[float64][]run{}
	eachRun(x, clipFramesFull, func(r run) {
		v := x[r.start]
		if v != lo && v != hi {
			return
		}
		if math.Abs(v) >= fullScale || r.len() >= clipFrames && stepBeside(x, r) >= clipStepCodes*code {
			plateaus[v] = append(plateaus[v], r)
		}
	})
	c := clipping{first: len(x)}
	for v, all := range plateaus {
		if len(all) == 1 && all[0].len() < clipFramesAlone && math.Abs(v) < fullScale {
			continue
		}
		for _, r := range all {
			c.frames += r.len()
			c.first = min(c.first, r.start)
		}
		c.level = math.Max(c.level, math.Abs(v))
	}
	return c
}

// stepBeside returns the mean step by which x reaches and leaves a run.
func stepBeside(x []float64, r run) float64 {
	if r.start == 0 || r.end == len(x) {
		return 0
	}
	return (math.Abs(x[r.start]-x[r.start-1]) + math.Abs(x[r.end-1]-x[r.end])) / 2
}

// extent returns the least and the greatest value of x and the step between
// neighbouring codes, as the smallest change from a sample to the next shows.
func extent(x []float64) (lo, hi, code float64) {
	lo, hi, code = math.Inf(1), math.Inf(-1), math.Inf(1)
	for i, v := range x {
		lo, hi = min(lo, v), max(hi, v)
		if i > 0 && v != x[i-1] {
			code = min(code, math.Abs(v-x[i-1]))
		}
	}
	return lo, hi, math.Max(code, floatResolution*math.Max(math.Abs(lo), math.Abs(hi)))
}

// A run is stuck if the samples beside it change at least stuckChanges times
// within the run's own length on each side, and the step into it or out of it
// is no small one: some codes, and a share of the RMS step beside it.
//
// The flat top of a slow sine in few codes changes 8 times at most, since a
// parabola that dwells n frames on its top code leaves 8 codes in the next n;
// noise makes it flicker by a code or two, no more. Signals that fade into
// digital silence do so in steps that grow small.
const (
	stuckChanges   = 20
	stuckStepCodes = 4
	stuckStepShare = 0.2
	stuckS         = 0.0005
	stuckBesideS   = 0.002
)

// findStuck counts the frames of x that hold one value for stuckS and more
// while the signal, or the noise, just before and just after was moving: a
// block that was lost and filled with zeros or with its last sample. A block
// of silence that is lost where noise is under a few codes is not seen.
func findStuck(x []float64, rateHz int) (frames, first int) {
	first = len(x)
	_, _, code := extent(x)
	least := max(int(stuckS*float64(rateHz)), stuckChanges+2)
	near := int(stuckBesideS * float64(rateHz))
	eachRun(x, least, func(r run) {
		if r.start == 0 || r.end == len(x) {
			return
		}
		step := math.Max(math.Abs(x[r.start]-x[r.start-1]), math.Abs(x[r.end]-x[r.start]))
		beside := math.Max(rmsStep(part(x, r.start-near, r.start)), rmsStep(part(x, r.end, r.end+near)))
		if step < stuckStepCodes*code || step < stuckStepShare*beside {
			return
		}
		if changes(part(x, r.start-r.len(), r.start)) >= stuckChanges && changes(part(x, r.end, r.end+r.len())) >= stuckChanges {
			frames += r.len()
			first = min(first, r.start)
		}
	})
	return frames, first
}

func rmsStep(x []float64) float64 {
	var sum float64
	for i := 1; i < len(x); i++ {
		sum += (x[i] - x[i-1]) * (x[i] - x[i-1])
	}
	return math.Sqrt(sum / math.Max(float64(len(x)-1), 1))
}

func changes(x []float64) (n int) {
	for i := 1; i < len(x); i++ {
		if x[i] != x[i-1] {
			n++
		}
	}
	return n
}

func allEqual(x []float64) bool {
	for _, v := range x {
		if v != x[0] {
			return false
		}
	}
	return true
}
