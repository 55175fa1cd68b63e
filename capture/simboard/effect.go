package simboard

import (
	"fmt"
	"math"
)

// Effect is what a device does to the signal while it is engaged: [Clipper],
// [Compressor] or [Chorus].
type Effect interface {
	// run changes x, in volts, in place.
	run(x []float64, rateHz float64)
	validate() error
}

// Clipper bends the signal by a square and a cubic term and holds it where
// the cubic would turn back; the products are those of a fuzz or a boost
// driven hard.
type Clipper struct {
	GainDB float64
	// Second and Third are the amplitudes of the harmonics, relative to the
	// fundamental, of a sine of 0 dBu behind the gain.
	Second, Third float64
}

func (c Clipper) run(x []float64, _ float64) {
	g := math.Pow(10, c.GainDB/20)
	for i := range x {
		x[i] *= g
	}
	newBend(c.Second, c.Third, volts(0)*math.Sqrt2, 0).run(x)
}

func (c Clipper) validate() error {
	if !within(c.GainDB, -60, 60) || !within(c.Second, 0, 1) || !within(c.Third, 0, 1) {
		return fmt.Errorf("clipper of gain %g dB, second %g, third %g: gain must be -60 to 60 dB, harmonics 0 to 1", c.GainDB, c.Second, c.Third)
	}
	return nil
}

// bend is x + square·x² - cube·x³, limited.
type bend struct{ square, cube, turn, rail float64 }

// newBend gives a sine of a peak amplitude harmonics of the ratios second and
// third: from A·sin, square·A²/2 and cube·A³/4.
func newBend(second, third, peak, rail float64) bend {
	b := bend{square: 2 * second / peak, cube: 4 * third / (peak * peak), turn: math.Inf(1), rail: rail}
	if b.cube > 0 {
		b.turn = 1 / math.Sqrt(3*b.cube)
	}
	if rail == 0 {
		b.rail = math.Inf(1)
	}
	return b
}

func (b bend) straight() bool { return b.square == 0 && b.cube == 0 && math.IsInf(b.rail, 1) }

func (b bend) run(x []float64) {
	for i, v := range x {
		v = max(-b.turn, min(b.turn, v))
		v += b.square*v*v - b.cube*v*v*v
		x[i] = max(-b.rail, min(b.rail, v))
	}
}

// Compressor lowers what is above its threshold, by its peak, with attack
// and release.
type Compressor struct {
	ThresholdDBu float64 // level of a sine
	Ratio        float64
	AttackS      float64
	ReleaseS     float64
	MakeupDB     float64
}

func (c Compressor) run(x []float64, rateHz float64) {
	threshold := volts(c.ThresholdDBu) * math.Sqrt2
	makeup := math.Pow(10, c.MakeupDB/20)
	attack := 1 - math.Exp(-1/(c.AttackS*rateHz))
	release := 1 - math.Exp(-1/(c.ReleaseS*rateHz))
	slope := 1/c.Ratio - 1
	peak := 0.0
	for i, v := range x {
		share := release
		if math.Abs(v) > peak {
			share = attack
		}
		peak += share * (math.Abs(v) - peak)
		g := makeup
		if peak > threshold {
			g *= math.Pow(peak/threshold, slope)
		}
		x[i] = g * v
	}
}

func (c Compressor) validate() error {
	if !within(c.ThresholdDBu, -80, 30) || !within(c.Ratio, 1, 100) || !within(c.MakeupDB, -60, 60) {
		return fmt.Errorf("compressor of threshold %g dBu, ratio %g, make-up %g dB: must be -80 to 30 dBu, 1 to 100, -60 to 60 dB",
			c.ThresholdDBu, c.Ratio, c.MakeupDB)
	}
	if !within(c.AttackS, 1e-5, 10) || !within(c.ReleaseS, 1e-5, 10) {
		return fmt.Errorf("compressor with attack %g s and release %g s: each must be 1e-5 to 10 s", c.AttackS, c.ReleaseS)
	}
	return nil
}

// Chorus adds a copy whose delay moves sinusoidally.
type Chorus struct {
	DelayS, DepthS float64
	RateHz         float64
	// Mix is the copy's amplitude relative to the direct signal.
	Mix float64
}

func (c Chorus) run(x []float64, rateHz float64) {
	dry := append([]float64(nil), x...)
	for i := range x {
		t := float64(i) / rateHz
		at := float64(i) - rateHz*(c.DelayS+c.DepthS*math.Sin(2*math.Pi*c.RateHz*t))
		k := int(math.Floor(at))
		if k < 1 || k+2 >= len(dry) {
			continue
		}
		x[i] += c.Mix * cubic(dry[k-1], dry[k], dry[k+1], dry[k+2], at-float64(k))
	}
}

func (c Chorus) validate() error {
	if !within(c.DepthS, 0, 0.1) || !within(c.DelayS, c.DepthS, 1) || !within(c.RateHz, 0, 20) || !within(c.Mix, 0, 1) {
		return fmt.Errorf("chorus of delay %g s, depth %g s, rate %g Hz, mix %g: depth must be 0 to 0.1 s, delay at least that, rate 0 to 20 Hz, mix 0 to 1",
			c.DelayS, c.DepthS, c.RateHz, c.Mix)
	}
	return nil
}

// cubic is Lagrange's interpolation between b and c at x of 0 to 1.
func cubic(a, b, c, d, x float64) float64 {
	return b + x*(c-a/3-b/2-d/6+x*((a+c)/2-b+x*((d-a)/6+(b-c)/2)))
}
