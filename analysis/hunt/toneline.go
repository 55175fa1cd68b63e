package hunt

import "math"

const (
	// clockShare is how far a crystal is off, and so a line of a clock's family.
	clockShare = 1.5e-4
	// strayChance is that of a tone that none of the causes brings; of what is
	// strayDB under the strongest ten times that.
	strayChance = 0.02
	strayDB     = -30.0
	audioHz     = 20000.0
	// differHz is how near to the difference of two others a tone must be to be
	// their beat, besides the lines' own width.
	differHz = 0.5
)

// fitTones is how well causes explain the tones as found, as a logarithm, and
// by tone the share of the first.
func fitTones(tones []Tone, causes []string) (log float64, share []float64) {
	for i, t := range tones {
		stray := strayChance / audioHz
		if len(causes) == 0 {
			stray = 1 / audioHz
		} else if t.RMS.Value < math.Sqrt(powerOf(strayDB))*tones[0].RMS.Value {
			stray *= 10
		}
		sum, first := stray, 0.0
		for k, c := range causes {
			d := toneDensity(c, tones, i) / float64(len(causes))
			sum += d
			if k == 0 {
				first = d
			}
		}
		share = append(share, (first+stray/2)/(sum))
		log += math.Log(sum)
	}
	return log, share
}

// toneDensity is how likely a cause brings a tone where tone i is, per hertz.
func toneDensity(cause string, tones []Tone, i int) float64 {
	t := tones[i]
	hz := t.FrequencyHz.Value
	switch cause {
	case USB:
		n := math.Round(hz / 1000)
		reach := clockReach(t)
		if i > 0 && onGrid(tones[0]) {
			// All lines of one clock are off by the same share.
			hz, reach = hz*math.Round(tones[0].FrequencyHz.Value/1000)*1000/tones[0].FrequencyHz.Value, reach/5
		}
		if n < 1 || t.WidthHz > 0 || math.Abs(hz-1000*n) > reach {
			return 0
		}
		return 1 / audioHz * 1000 / (2 * reach)
	case Beat:
		d := 0.6*evenly(hz, 40, 5000) + 0.4*evenly(hz, 1500, audioHz)
		if n := float64(len(tones)); isDifference(tones, i) {
			d += 0.6 / (n * (n - 1) / 2) / (4 * differHz)
		}
		return d + ofSeries(tones, i)
	case Bench:
		return 0.3 * evenly(hz, 40, audioHz)
	}
	return 0.8*evenly(hz, 1500, audioHz) + 0.2*evenly(hz, 300, audioHz) + ofSeries(tones, i)
}

func clockReach(t Tone) float64 { return clockShare*t.FrequencyHz.Value + 2*t.FrequencyHz.Std + 0.05 }

// onGrid says whether a tone may be of a clock's family.
func onGrid(t Tone) bool {
	n := math.Round(t.FrequencyHz.Value / 1000)
	return n >= 1 && math.Abs(t.FrequencyHz.Value-1000*n) < clockReach(t)
}

// evenly is a density even in the logarithm of frequency.
func evenly(hz, low, high float64) float64 {
	if hz < low || hz > high {
		return 0
	}
	return 1 / (hz * math.Log(high/low))
}

// ofSeries is the density where a multiple of a stronger tone is.
func ofSeries(tones []Tone, i int) float64 {
	if isMultiple(tones, i) {
		return 0.03 / (4 * differHz)
	}
	return 0
}

// isMultiple says whether tone i is a multiple of a stronger one.
func isMultiple(tones []Tone, i int) bool {
	hz := tones[i].FrequencyHz.Value
	for _, o := range tones[:i] {
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
func isDifference(tones []Tone, i int) bool {
	t := tones[i]
	for j, a := range tones {
		for k, b := range tones[:j] {
			if i == j || i == k || isMultiple(tones, i) || isMultiple(tones, j) || isMultiple(tones, k) {
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
