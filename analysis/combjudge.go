package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
)

// A line past loneAbove is no harmonic of the mains by itself, but some clock's
// or converter's that happens to lie on the comb: the mains shows others within
// loneAbove of it, none loneRatio times weaker. Common practice, no source.
const (
	loneAbove = 6
	loneRatio = 5.0
)

// standsOutPower is what combLevel is in power over noise.
const standsOutPower = combLevel * combLevel / 2

// lone says which harmonics stand out by themselves.
func (f *combFit) lone(powers []float64) []bool {
	out := make([]bool, len(powers))
	for h := loneAbove + 1; h < len(powers); h++ {
		out[h] = powers[h] > standsOutPower
		for o := h - loneAbove; o <= min(h+loneAbove, len(powers)-1) && out[h]; o++ {
			beside := o != h && powers[o] > standsOutPower
			out[h] = !beside || abs2(f.amps[h]) > loneRatio*loneRatio*abs2(f.amps[o])
		}
	}
	return out
}

// shared are the powers over noise of the harmonics, 0 for lone ones.
func (f *combFit) shared() []float64 {
	powers := f.powers()
	for h, lone := range f.lone(powers) {
		if lone {
			powers[h] = 0
		}
	}
	return powers
}

// explained is the power over noise of all harmonics together.
func (f *combFit) explained() float64 {
	sum := 0.0
	for _, p := range f.shared() {
		sum += p
	}
	return sum
}

// better prefers what is significant, then what has clearly more lines, for one
// strong line that is no mains's counts for less than many that are, then
// what explains more.
func (f *combFit) better(o *combFit) bool {
	if a, b := f.significant(), o.significant(); a != b {
		return a
	}
	if n, m := f.lines(), o.lines(); n >= m+2 || m >= n+2 {
		return n > m
	}
	return f.explained() > o.explained()
}

// lines counts the lines that stand out.
func (f *combFit) lines() int {
	n := 0
	for _, power := range f.shared() {
		if power > standsOutPower {
			n++
		}
	}
	return n
}

// significant decides whether there is a comb. The frequency was chosen
// among many to make the comb look strong, so the odds are over all of them:
// below one record of noise in a thousand, either by one harmonic or by all
// together. Lines that are all multiples of, say, 500 Hz are no mains comb but
// some clock's, and two that are high up no comb at all.
func (f *combFit) significant() bool {
	lengthS := 2 * f.s.halfS
	driftCells := math.Max(1, 2*maxDriftHzPerS*searchHarmonics*lengthS*lengthS/8)
	cells := 2 * (mainsUnder + mainsOver) * (50 + 60) * searchHarmonics * lengthS * driftCells
	odds := 1e-3 / cells
	one := math.Log(searchHarmonics / odds)
	sum, largest := 0.0, 0.0
	for _, power := range f.shared() {
		sum += power
		largest = math.Max(largest, power)
	}
	all := mathext.GammaIncRegComp(searchHarmonics, sum) < odds
	return f.cov != nil && (largest > one || all) && f.many() && f.common() <= loneAbove
}

// fewHigh lines past loneAbove lie on one comb or another whatever they are.
const fewHigh = 2

// many says whether the lines that stand out are more than fewHigh, or any of
// them is low.
func (f *combFit) many() bool {
	return f.lines() > fewHigh || slices.Max(f.shared()[:loneAbove+1]) > standsOutPower
}

// common is the greatest divisor of the harmonics that stand out, 0 where none
// does.
func (f *combFit) common() int {
	common := 0
	for h, power := range f.shared() {
		if power > standsOutPower && h > 0 {
			common = gcd(common, h)
		}
	}
	return common
}

// either says whether the lines that stand out are as well a comb of the other
// mains frequency: multiples of 300 Hz are, where both were looked for.
func (f *combFit) either() bool {
	hz := f.phase.slope() * float64(f.s.stride) * f.s.rateHz
	return f.s.anyMains && math.Round(hz/10)*10*float64(f.common()) == 300
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// bridged decides whether the phase is carried over the gaps without a doubt:
// no frequency that fits each span about as well, but slips a cycle of one of
// the lower harmonics in between, explains the record nearly as well (odds of
// e^8).
func (f *combFit) bridged() bool {
	halfS, frames := f.s.halfS, float64(f.s.stride)*f.s.rateHz
	// Each harmonic is looked at with the others taken off: what a strong one
	// leaks into all the rest in short spans would have a say otherwise.
	alone := *f.s
	f.solve(solveShare)
	alone.x = f.residual()
	b := alone.blocks(mainsGuess{hz: f.phase.c[1] / f.phase.half * frames, hzPerS: 2 * f.phase.c[2] / (halfS * halfS)}, f.floor)
	for i, sums := range b.sums {
		for h := range sums {
			sums[h] += f.amps[h] * complex(float64(b.frames[i])/2, 0)
		}
	}
	first, last := f.s.spans[0], f.s.spans[len(f.s.spans)-1]
	apartS := float64(last.Start+last.End-first.Start-first.End) / 2 / f.s.rateHz
	best := b.power(0)
	for h := 1; h <= 6; h++ {
		for k := 1; k <= 3; k++ {
			slip := float64(k) / (float64(h) * apartS)
			if best-math.Max(b.power(slip), b.power(-slip)) < 8 {
				return false
			}
		}
	}
	return true
}

// comb returns what was fitted, if it is one.
func (f *combFit) comb() *Comb {
	if !f.significant() {
		return &Comb{Reason: noComb}
	}
	if f.either() {
		return &Comb{Reason: eitherMains}
	}
	if len(f.s.spans) > 1 && !f.bridged() {
		return &Comb{Reason: "the mains phase cannot be carried across the gap"}
	}
	c := &Comb{
		Found: true, phase: f.phase, order: f.order, cov: f.cov,
		Amplitudes: f.amps, floor: f.floor, strangers: f.strangers(),
	}
	halfS := f.s.halfS
	frames := float64(f.s.stride) * f.s.rateHz
	odd := mat.NewVecDense(f.order, []float64{1, 0, 1, 0, 1, 0, 1, 0}[:f.order])
	// The straight line that was fitted holds 3/5 of an unfitted cubic.
	c.FrequencyHz = Estimate{f.phase.meanFrequency() * frames, Hypot(math.Sqrt(mat.Inner(odd, f.cov, odd)), 2.0/5*f.unfitted) / halfS}
	c.restless = f.order == maxPhaseOrder
	if f.order >= 2 {
		scale := 2 / (halfS * halfS)
		c.DriftHzPerS = Estimate{f.phase.c[2] * scale, math.Sqrt(f.cov.At(1, 1)) * scale}
	}
	return c
}
