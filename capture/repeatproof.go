package capture

import (
	"math"
	"slices"
)

// comparison holds a recording against itself.
type comparison struct {
	x, played []float64
	offset    int
	// least is by how much two frames played must differ to be told apart in x.
	least float64
	// noisy says that there is more noise than rounding to codes makes: frames
	// then agree by chance one by one. A signal that is only rounded agrees with
	// itself in stretches, and proves nothing where what was played repeats.
	noisy bool
	live  bool
}

const (
	// noisyFromCodes is the RMS of the noise, in codes, from which it counts.
	// Rounding alone makes 0.29; triangular dither and rounding make 0.5.
	noisyFromCodes = 0.5
	// toldApartCodes is by how many codes frames must differ that are told apart
	// without noise: rounding moves each by half a code, and the path may have
	// half the gain that the peaks say.
	toldApartCodes = 4.0
	// smearFrames is how far around a frame what was played must differ too, so
	// that a path's own delay and the uncertainty of the offset do not matter.
	smearFrames = 32
)

func newComparison(x, played []float64, offset int) *comparison {
	lo, hi, code := extent(x)
	c := &comparison{x: x, played: played, offset: offset, noisy: noiseInCodes(x, code) >= noisyFromCodes}
	if len(played) > 0 && !c.noisy {
		low, high, _ := extent(played)
		c.least = toldApartCodes * code * math.Max(high, -low) / math.Max(hi, -lo)
	}
	return c
}

// isNoise says whether what is in a stretch may be noise. In a file, what stays
// within a step of 16 bits may be such a step with the ringing of a filter, which
// makes it 1.18 (Gibbs: 9 % at both ends).
func (c *comparison) isNoise(r Repeated) bool {
	lo, hi, _ := extent(c.x[r.Start : r.Start+r.Frames])
	return c.live || hi-lo > 1.25/(1<<15)
}

// repeats says whether what was played repeats at frame i, as far as the path
// can show.
func (c *comparison) repeats(i, lag int) bool {
	return c.same(i, lag) || c.same(i-smearFrames, lag) || c.same(i+smearFrames, lag)
}

func (c *comparison) same(i, lag int) bool {
	a, b := c.at(i), c.at(i-lag)
	// Two frames of the same phase of a tone differ by what 32-bit floats round.
	return math.Abs(a-b) <= math.Max(c.least, 1e-6*math.Max(math.Abs(a), math.Abs(b)))
}

func (c *comparison) at(i int) float64 {
	if i -= c.offset; i >= 0 && i < len(c.played) {
		return c.played[i]
	}
	return 0
}

// agreement counts frames that differ from the frame before, here or lag
// frames earlier, by whether they agree with the one lag frames earlier.
type agreement struct {
	frames, equal float64
	// after are those whose frame before agreed, hits those of them that agree
	// too; the others leave out the candidates.
	after, hits, afterOther, hitsOther float64
}

// bits returns what one more frame that agrees counts for.
func (a agreement) bits() float64 {
	hits, after := a.hits, a.after
	// What repeats for the most part is a signal that does so by itself.
	if a.equal <= a.frames/2 {
		hits, after = a.hitsOther, a.afterOther
	}
	return math.Min(-math.Log2((hits+1)/(after+2)), repeatMostBits)
}

// proven returns those of runs, all of one lag, that chance does not explain.
func (c *comparison) proven(lag int, runs []Repeated) (proven []Repeated) {
	// A periodic signal has no earlier frames to agree with in its first lag; a
	// recording of none has no such excuse.
	var all [2]agreement
	all[1].frames = float64(lag)
	if c.played == nil {
		all[0].frames = float64(lag)
	}
	counts := make([][2]float64, len(runs))
	k := 0
	for i := lag + 1; i < len(c.x); i++ {
		for k < len(runs) && i >= runs[k].Start+runs[k].Frames {
			k++
		}
		within := k < len(runs) && i >= runs[k].Start
		if c.x[i] == c.x[i-1] && c.x[i-lag] == c.x[i-lag-1] {
			continue
		}
		class := 0
		switch {
		case !c.repeats(i, lag):
			class = 1
		case !c.live && c.at(i) != 0:
			continue
		}
		equal, after := c.x[i] == c.x[i-lag], c.x[i-1] == c.x[i-1-lag]
		all[class].count(equal, after, within)
		if within {
			counts[k][class]++
		}
	}
	need := 2*math.Log2(float64(len(c.x))) - 1 + repeatMinBits
	for k, r := range runs {
		bits := counts[k][1] * all[1].bits()
		if c.noisy && c.isNoise(r) {
			bits += counts[k][0] * all[0].bits()
		}
		if bits >= need {
			proven = append(proven, r)
		}
	}
	return proven
}

func (a *agreement) count(equal, after, within bool) {
	a.frames++
	hit := 0.0
	if equal {
		hit = 1
		a.equal++
	}
	if !after {
		return
	}
	a.after++
	a.hits += hit
	if !within {
		a.afterOther++
		a.hitsOther += hit
	}
}

// noiseInCodes returns the RMS of the noise of x in steps of its codes, as
// fourth differences show it, which leave little of hum and of tones: their
// lower quartile, since the loud parts of a signal leave more.
func noiseInCodes(x []float64, code float64) float64 {
	if code == 0 || math.IsInf(code, 0) {
		return 0
	}
	// One in so many is enough to know a quartile.
	step := max(1, len(x)/20000)
	var d []float64
	for i := 4; i < len(x); i += step {
		d = append(d, math.Abs(x[i]-4*x[i-1]+6*x[i-2]-4*x[i-3]+x[i-4]))
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	// The quartile of a normal deviate's magnitude is 0.3186; 70 is the sum of
	// the squares of the difference's weights.
	return d[len(d)/4] / 0.3186 / math.Sqrt(70) / code
}
