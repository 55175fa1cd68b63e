package calibration

import (
	"fmt"

	"boardproof/analysis"
)

// CrosstalkHz are the tones that crosstalk is read at: as far as can be from
// harmonics of 50 and 60 Hz.
var CrosstalkHz = []float64{1035, 10035}

// Crosstalk is what comes across at an input, its plug terminated, from
// another that has a signal.
type Crosstalk struct {
	From        int     `json:"from"`
	FrequencyHz float64 `json:"frequency_hz"`
	// DB is the level at this input over that at From, volts over volts. With
	// UpperBound it is not above Value, at about 95 %: it could not be told
	// from the noise.
	DB         analysis.Estimate `json:"db"`
	UpperBound bool              `json:"upper_bound,omitempty"`
}

// seenAbove is how many standard uncertainties an amplitude must have to be
// told from noise.
const seenAbove = 3.0

// AddCrosstalk puts into each of to what comes across from an input, read from
// a tone through a lead to that one alone. Row 0 of rec is from, the others are
// those of to; the full scales of all must be known.
func AddCrosstalk(from *Input, to []*Input, rec *analysis.Recording) error {
	loud, err := body(rec, 0)
	if err != nil {
		return fmt.Errorf("calibrating crosstalk from input %d: %w", from.Channel, err)
	}
	for i, at := range to {
		x, err := body(rec, i+1)
		if err != nil {
			return fmt.Errorf("calibrating crosstalk at input %d: %w", at.Channel, err)
		}
		fit, err := analysis.FitTone([][]float64{loud, x}, rec.RateHz, rec.Signal.FrequencyHz, 1)
		if err != nil {
			return fmt.Errorf("calibrating crosstalk from input %d: %w", from.Channel, err)
		}
		source, here := fit.Channels[0], fit.Channels[1]
		db := func(amplitude float64) float64 {
			return analysis.DB(amplitude/source.Amplitude[0]) + at.FullScaleDBu.Value - from.FullScaleDBu.Value
		}
		c := Crosstalk{From: from.Channel, FrequencyHz: rec.Signal.FrequencyHz}
		if a, std := here.Amplitude[0], here.Std[0]; a < seenAbove*std {
			c.UpperBound, c.DB.Value = true, db(a+analysis.CoverageK*std)
		} else {
			c.DB = analysis.Estimate{Value: db(a), Std: analysis.DBFromRelative(analysis.Hypot(
				std/a, source.Std[0]/source.Amplitude[0], at.PlugRelStd, from.PlugRelStd))}
		}
		at.Crosstalk = append(at.Crosstalk, c)
	}
	return nil
}
