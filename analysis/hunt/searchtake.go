package hunt

import (
	"math"

	"boardproof/analysis"
)

// SearchTakeOf is a reading as a search sees it: all that hums or whines
// together, in power, with the devices that were on.
func SearchTakeOf(on []string, r Reading) SearchTake {
	t := SearchTake{On: on, UpperBound: true}
	power, variance, bounds := 0.0, 0.0, 0.0
	for _, g := range Groups() {
		l := r.Levels[g]
		v, s := l.RMS.Value, l.RMS.Std
		switch {
		case g == Hiss:
		case l.UpperBound:
			bounds += v * v
		default:
			t.UpperBound = false
			power += v * v
			variance += v * v * s * s
		}
	}
	if t.UpperBound {
		t.RMS = analysis.Estimate{Value: math.Sqrt(bounds)}
		return t
	}
	t.RMS.Value = math.Sqrt(power)
	if power > 0 {
		t.RMS.Std = math.Sqrt(variance / power)
	}
	return t
}

// MostHum is the output that hums or whines most, "" where none could be read.
func MostHum(readings []Reading) string {
	output, most := "", -1.0
	for _, r := range readings {
		if r.Reason != "" {
			continue
		}
		if t := SearchTakeOf(nil, r); t.RMS.Value > most {
			output, most = r.Output, t.RMS.Value
		}
	}
	return output
}
