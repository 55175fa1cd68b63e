package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
)

const (
	// inBandDB below the most it passes is still the band of a board: a high-pass of
	// second order has turned the phase by less than a right angle there.
	inBandDB = 2.0
	// halfPeak of the largest excursion of a pulse is no ripple of the band's edges.
	halfPeak = 0.5
)

// polarityBy is the polarity by one definition.
type polarityBy struct {
	how  string
	sign int
}

// polarities are those of s by every sensible definition; sign, that of the fit, is
// what z was turned by already. pulse is s's.
func (s straightened) polarities(sign int, pulse []float64) []polarityBy {
	by := func(how string, x float64) polarityBy {
		switch {
		case x > 0:
			return polarityBy{how, sign}
		case x < 0:
			return polarityBy{how, -sign}
		}
		return polarityBy{how, 0}
	}
	all := []polarityBy{{"straight phase over the band", sign}}
	at := NearestIndex(s.f, gridReferenceHz)
	all = append(all, by("phase at 1 kHz", real(s.z[at])))
	log, power := s.sums()
	all = append(all, by("mean over octaves", log), by("mean by power", power))
	_, _, peak := peakOf(pulse)
	all = append(all, by("largest peak of a pulse", pulse[peak]))
	for _, v := range pulse {
		if math.Abs(v) >= halfPeak*math.Abs(pulse[peak]) {
			all = append(all, by("first peak of a pulse", v))
			break
		}
	}
	low, high := s.bandEnds()
	return append(all, by(fmt.Sprintf("phase at %.3g Hz", s.f[low]), real(s.z[low])), by(fmt.Sprintf("phase at %.3g Hz", s.f[high]), real(s.z[high])))
}

// sums are the mean cosine of the phase over octaves, and by power.
func (s straightened) sums() (log, power float64) {
	for i, z := range s.z {
		w := s.stepHz[i] / s.f[i]
		log += w * real(z) / cmplx.Abs(z)
		power += w * real(z) * cmplx.Abs(z)
	}
	return log, power
}

// bandEnds are the lowest and the highest point that pass no less than inBandDB
// below the most.
func (s straightened) bandEnds() (low, high int) {
	most := 0.0
	for _, z := range s.z {
		most = math.Max(most, sqAbs(z))
	}
	least := most * math.Pow(10, -inBandDB/10)
	low = -1
	for i, z := range s.z {
		if sqAbs(z) >= least {
			if high = i; low < 0 {
				low = i
			}
		}
	}
	return low, high
}

// agreed is the polarity that all definitions give, or why there is none.
func agreed(all []polarityBy) (sign int, notDefined string) {
	for _, p := range all[1:] {
		if p.sign != all[0].sign {
			return 0, fmt.Sprintf("not defined here: %+d by %s, %+d by %s, as of a filter or a phase shifter; bypass what shifts the phase",
				all[0].sign, all[0].how, p.sign, p.how)
		}
	}
	return all[0].sign, ""
}
