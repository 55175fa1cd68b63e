package report

import (
	"math"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// HumHold keeps the lowest and the highest level of each group at each output
// since it was begun, in dBu (or in dB under full scale without a profile).
type HumHold struct {
	levels map[string]map[string]*[2]float64
}

// Add takes one reading of each output into the hold.
func (h *HumHold) Add(readings []hunt.Reading) {
	if h.levels == nil {
		h.levels = map[string]map[string]*[2]float64{}
	}
	for _, r := range readings {
		if r.Reason != "" {
			continue
		}
		if h.levels[r.Output] == nil {
			h.levels[r.Output] = map[string]*[2]float64{}
		}
		for _, g := range hunt.Groups() {
			v := LevelShown(r, r.Levels[g])
			held := h.levels[r.Output][g]
			if held == nil {
				held = &[2]float64{v, v}
				h.levels[r.Output][g] = held
			}
			held[0], held[1] = math.Min(held[0], v), math.Max(held[1], v)
		}
	}
}

// Of returns the lowest and highest level of a group at an output; ok is
// false where nothing was read yet.
func (h *HumHold) Of(output, group string) (best, worst float64, ok bool) {
	held := h.levels[output][group]
	if held == nil {
		return 0, 0, false
	}
	return held[0], held[1], true
}

// LevelShown is a level in dBu, or in dB under a full-scale sine where the
// reading is not in volts.
func LevelShown(r hunt.Reading, l hunt.Level) float64 {
	if r.InVolts {
		return analysis.DBu(math.Max(l.RMS.Value, leastShownV))
	}
	return analysis.DB(math.Max(l.RMS.Value, leastShownV) * math.Sqrt2)
}

// leastShownV stands for nothing at all, which has no level.
const leastShownV = 1e-10
