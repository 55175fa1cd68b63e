package analysis

import (
	"cmp"
	"math"
	"slices"

	"boardproof/testsignals"
)

// leakShare of a harmonic's amplitude is less than ever is left of it under a
// taper, however it swells or wanders.
const leakShare = 0.5

// leaks says at which harmonics there is nothing but the leakage of another
// line: a fit without a window sees that far away, one under a taper does not.
func (f *combFit) leaks() []bool {
	e, weight := f.residual(), 0.0
	for _, s := range f.s.spans {
		n := s.Len()
		for i := range n {
			w := taper(i, n)
			e[s.Start+i] *= w
			weight += w
		}
	}
	out := make([]bool, len(f.amps))
	for h, sum := range f.fold.sums(e, &f.phase, 0)[0] {
		under := f.amps[h] + sum*complex(2/weight, 0)
		out[h] = abs2(under) < sq(leakShare)*abs2(f.amps[h])
	}
	return out
}

// A line that jitters is smeared over some hertz: within smearHz of a harmonic the
// noise is what is there, if it is smearRatio times the floor, which is wider.
const (
	smearHz    = 8.0
	smearRatio = 3.0
	smearBins  = 16
)

// smears returns the density of the smear that each harmonic lies in, 0 for
// those that lie in none. e is what the amplitudes leave.
func (f *combFit) smears(e []float64) []float64 {
	longest := slices.MaxFunc(f.s.spans, func(a, b testsignals.Span) int { return cmp.Compare(a.Len(), b.Len()) })
	psd, binHz := periodogram(e[longest.Start:longest.End], f.s.rateHz)
	lineHz, reach := f.phase.slope()*float64(f.s.stride)*f.s.rateHz, int(smearHz/binHz)
	out := make([]float64, len(f.amps))
	if 2*reach < smearBins {
		return out
	}
	for h := 1; h < len(out); h++ {
		at := int(math.Round(float64(h) * lineHz / binHz))
		around := slices.Concat(psd[max(0, at-reach):max(0, at-2)], psd[min(at+3, len(psd)):min(at+reach+1, len(psd))])
		slices.Sort(around)
		if len(around) < smearBins {
			continue
		}
		if density := around[len(around)/2] / math.Ln2; density > smearRatio*f.floor.at(float64(h)*lineHz) {
			out[h] = density
		}
	}
	return out
}

// taper is a Tukey window of n points that rises and falls over a quarter each.
func taper(i, n int) float64 {
	edge := math.Min(float64(i)+0.5, float64(n-i)-0.5) / (float64(n) / 4)
	if edge >= 1 {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*edge)
}
