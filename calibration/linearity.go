package calibration

import (
	"errors"
	"fmt"

	"boardproof/analysis"
)

// LinearityLevels are the levels in dBFS, 60 dB of them, at which the bench's
// linearity is looked at; LinearityReference is the one that the others are
// compared with.
var LinearityLevels = []float64{-6, -16, -26, -36, -46, -56, -66}

// LinearityReference is as in LinearityLevels.
const LinearityReference = -16.0

// LevelStep is how far the loopback's gain at one level is off the gain at
// the reference level.
type LevelStep struct {
	LevelDBFS     float64           `json:"level_dbfs"`
	ReferenceDBFS float64           `json:"reference_dbfs"`
	DeviationDB   analysis.Estimate `json:"deviation_db"`
}

// AddLinearity puts the level linearity into inputs, read from tones through
// the loopback lead, one of which has the level LinearityReference. The lead
// stays where it is, so only noise makes a step uncertain.
func AddLinearity(inputs []Input, tones []*analysis.Recording) error {
	var reference []analysis.Estimate
	gains := make([][]analysis.Estimate, len(tones))
	for i, t := range tones {
		var err error
		if gains[i], err = loopbackGains(t); err != nil {
			return fmt.Errorf("calibrating linearity at %g dBFS: %w", t.Signal.LevelDBFS, err)
		}
		if len(gains[i]) != len(inputs) {
			return fmt.Errorf("calibrating linearity: %d inputs were recorded of %d", len(gains[i]), len(inputs))
		}
		if t.Signal.LevelDBFS == LinearityReference {
			reference = gains[i]
		}
	}
	if reference == nil {
		return errors.New("calibrating linearity: there is no tone at the reference level")
	}
	for i, t := range tones {
		if t.Signal.LevelDBFS == LinearityReference {
			continue
		}
		for row := range inputs {
			g, ref := gains[i][row], reference[row]
			inputs[row].Linearity = append(inputs[row].Linearity, LevelStep{
				LevelDBFS: t.Signal.LevelDBFS, ReferenceDBFS: LinearityReference,
				DeviationDB: analysis.Estimate{Value: g.Value - ref.Value, Std: analysis.Hypot(g.Std, ref.Std)},
			})
		}
	}
	return nil
}
