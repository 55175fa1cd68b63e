package analysis

import (
	"errors"
	"fmt"
	"math"
)

// cornerDB is how far below the gain at 1 kHz a corner is: half the power.
var cornerDB = 10 * math.Log10(2)

// ErrNoCorner is wrapped when the response does not surely fall by 3 dB inside the
// measured band; the text says where it ends.
var ErrNoCorner = errors.New("the response does not fall by 3 dB inside the measured band")

// Corner finds the frequency in hertz nearest to 1 kHz, below it (low) or
// above, at which the response has fallen by 3.01 dB from its value there: the
// first one on the way out, be it the corner of a band or the side of a notch. The
// uncertainty is that of the level against 1 kHz divided by the local slope, and
// reaches from where the response may have fallen so far to where it surely has.
// Where it does not surely, the value is the nearest that a corner may be, at most
// the end of the band.
func (m Magnitude) Corner(low bool) (hz float64, b Budget, err error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	if ref < 0 {
		return 0, nil, errors.New("there is no response at 1 kHz")
	}
	c := crossing{m: m, ref: ref, step: 1, target: m.DB[ref] - cornerDB}
	if low {
		c.step = -1
	}
	may, surely := c.first(c.ref, -CoverageK), c.first(c.ref, CoverageK)
	switch {
	case may < 0:
		end := m.FrequencyHz[len(m.FrequencyHz)-1]
		if low {
			end = m.FrequencyHz[0]
		}
		return end, nil, ErrNoCorner
	case surely < 0:
		return m.FrequencyHz[may], nil, fmt.Errorf("%w for certain: it nearly does, or does within the noise, at %.4g Hz", ErrNoCorner, m.FrequencyHz[may])
	}
	hz, b = c.read(may, surely)
	return hz, b, nil
}

// crossing is where m, on the way out from ref, falls to target.
type crossing struct {
	m         Magnitude
	ref, step int
	target    float64
}

// level is point i with k standard uncertainties added: under the noise it may be
// anything, or is a bound.
func (c crossing) level(i int, k float64) float64 {
	switch known := c.m.is(i); {
	case known == isFigure || k == 0:
		return c.m.DB[i] + k*c.std(i)
	case k < 0:
		return math.Inf(-1)
	case known == isAtMost:
		return c.m.bound(i)
	}
	return math.Inf(1)
}

// std is the standard uncertainty of point i against the reference.
func (c crossing) std(i int) float64 { return Hypot(c.m.ownStd(i), c.m.ownStd(c.ref)) }

// first returns the first point from i outwards whose level, with k standard
// uncertainties added, is not above the target; -1 where none is.
func (c crossing) first(i int, k float64) int {
	for i += c.step; i >= 0 && i < len(c.m.DB); i += c.step {
		if c.level(i, k) <= c.target {
			return i
		}
	}
	return -1
}

// read returns the crossing between points may and surely. In noise the response
// crosses the target several times on one slope: the middle of the first and the
// last time is taken. Where it clearly rises between, it is the first.
func (c crossing) read(may, surely int) (hz float64, b Budget) {
	first := c.first(c.ref, 0)
	hz = c.between(first - c.step)
	rises := false
	last := first
	for i := first; i != surely; i += c.step {
		rises = rises || c.m.DB[i] > c.target+2*CoverageK*c.std(i)
		if c.m.DB[i] > c.target && c.m.DB[i+c.step] <= c.target {
			last = i + c.step
		}
	}
	if last != first && !rises {
		hz = math.Sqrt(hz * c.between(last-c.step))
	}
	b = c.m.Between(first, c.ref).times(hz / math.Abs(c.slope(first)))
	reach := math.Max(math.Abs(hz-c.m.FrequencyHz[may-c.step]), math.Abs(hz-c.m.FrequencyHz[surely]))
	near := math.Abs(c.m.FrequencyHz[first]-c.m.FrequencyHz[first-c.step]) + b.Expanded()
	if reach > near {
		b = append(b, evenly(sourceChoice, math.Sqrt(sq(reach)-sq(b.Expanded()))/math.Sqrt(3)))
	}
	return hz, b
}

// between bisects for the target between point i and the next.
func (c crossing) between(i int) float64 {
	in, out := c.m.FrequencyHz[i], c.m.FrequencyHz[i+c.step]
	for range 40 {
		if mid := (in + out) / 2; c.m.at(mid) > c.target {
			in = mid
		} else {
			out = mid
		}
	}
	return (in + out) / 2
}

// slope is that about point i in dB for a factor e in frequency, over what a gate
// resolves.
func (c crossing) slope(i int) float64 {
	w, _ := gateFor(c.m.FrequencyHz[i])
	lo, hi := i, i
	for lo > 0 && (lo == i || c.m.FrequencyHz[hi]-c.m.FrequencyHz[lo] < 0.5/w.length()) {
		lo--
		hi = min(len(c.m.DB)-1, hi+1)
	}
	return (c.m.DB[hi] - c.m.DB[lo]) / math.Log(c.m.FrequencyHz[hi]/c.m.FrequencyHz[lo])
}
