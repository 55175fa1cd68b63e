package hunt

import "math"

// toneCauses bring lines that are not of the mains.
var toneCauses = []string{Converter, Beat, USB}

const (
	// clockShare is how far a crystal is off, and so a line of a clock's family.
	clockShare = 1.5e-4
	// strayChance is that of a tone that none of the causes brings.
	strayChance = 0.02
	audioHz     = 20000.0
	// differHz is how near to the difference of two others a tone must be to be
	// their beat, besides the lines' own width.
	differHz = 0.5
)

// toneFit is how well a set of causes explains the tones as found, and what
// share in each tone each has, clutter last.
type toneFit struct {
	causes      []string
	logEvidence float64
	share       [][]float64
}

// fitTones takes each tone to be of any of the causes alike.
func fitTones(s *spectrum, causes []string) toneFit {
	f := toneFit{causes: causes, share: make([][]float64, len(causes)+1)}
	for i, t := range s.tones {
		stray := strayChance / audioHz
		if t.RMS.Value < 0.03*s.tones[0].RMS.Value {
			stray *= 10
		}
		sum := stray
		var each []float64
		for _, c := range causes {
			d := toneDensity(c, s, i) / float64(len(causes))
			each = append(each, d)
			sum += d
		}
		each = append(each, stray)
		for k := range each {
			f.share[k] = append(f.share[k], math.Max(each[k]/sum, 1e-6))
		}
		f.logEvidence += math.Log(sum)
	}
	return f
}

// toneDensity is how likely a cause brings a tone where tone i is, per hertz,
// and as wide as it is.
func toneDensity(cause string, s *spectrum, i int) float64 {
	t := s.tones[i]
	hz := t.FrequencyHz.Value
	wide := t.WidthHz > 0
	widths := func(wideShare float64) float64 {
		if wide {
			return wideShare
		}
		return 1 - wideShare
	}
	switch cause {
	case USB:
		n := math.Round(hz / 1000)
		reach := clockShare*hz + 2*t.FrequencyHz.Std + 0.05
		if i > 0 && onGrid(s.tones[0]) {
			// All lines of one clock are off by the same share.
			hz, reach = hz*math.Round(s.tones[0].FrequencyHz.Value/1000)*1000/s.tones[0].FrequencyHz.Value, reach/5
		}
		if n < 1 || math.Abs(hz-1000*n) > reach {
			return 0
		}
		return widths(0.05) / 20 / (2 * reach)
	case Converter:
		d := between(hz, 1500, audioHz)*0.8 + between(hz, 300, audioHz)*0.2
		if isMultiple(s, i) {
			d += 0.03 / (4 * differHz)
		}
		return widths(0.45) * d
	case Beat:
		d := 0.45*between(hz, 40, 5000) + 0.3*between(hz, 1500, audioHz) + 0.25*between(hz, 40, audioHz)
		if n := float64(len(s.tones)); isDifference(s, i) {
			d += 0.6 / (n * (n - 1) / 2) / (4 * differHz)
		}
		if isMultiple(s, i) {
			d += 0.03 / (4 * differHz)
		}
		return widths(0.5) * d
	}
	return 0
}

// onGrid says whether a tone may be of a clock's family.
func onGrid(t Tone) bool {
	hz := t.FrequencyHz.Value
	n := math.Round(hz / 1000)
	return n >= 1 && math.Abs(hz-1000*n) < clockShare*hz+2*t.FrequencyHz.Std+0.05
}

// between is a density even in the logarithm of frequency.
func between(hz, low, high float64) float64 {
	if hz < low || hz > high {
		return 0
	}
	return 1 / (hz * math.Log(high/low))
}

// isMultiple says whether tone i is a multiple of a stronger one.
func isMultiple(s *spectrum, i int) bool {
	hz := s.tones[i].FrequencyHz.Value
	for _, o := range s.tones[:i] {
		f := o.FrequencyHz.Value
		n := math.Round(hz / f)
		if n >= 2 && math.Abs(hz-n*f) < differHz+n*(o.WidthHz+3*o.FrequencyHz.Std) {
			return true
		}
	}
	return false
}

// isDifference says whether tone i is the difference of two others, none of
// which is a multiple of another: those of one tone differ by it.
func isDifference(s *spectrum, i int) bool {
	t := s.tones[i]
	for j, a := range s.tones {
		for k, b := range s.tones {
			if i == j || i == k || j <= k || isMultiple(s, i) || isMultiple(s, j) || isMultiple(s, k) {
				continue
			}
			d := math.Abs(a.FrequencyHz.Value - b.FrequencyHz.Value)
			if math.Abs(d-t.FrequencyHz.Value) < differHz+t.WidthHz+a.WidthHz+b.WidthHz {
				return true
			}
		}
	}
	return false
}
