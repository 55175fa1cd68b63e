package calibration

import (
	"fmt"
	"math"
	"time"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/testsignals"
)

// Patching says which input records which output of the board.
type Patching struct {
	Output string `json:"output"`
	Input  int    `json:"input"`
}

// Recording turns a proved take into what the estimators work on. With a
// profile the samples keep their full scales and the profile's knowledge of
// each input goes with them; the estimators turn them into volts. profile may
// be nil; of a foreign one nothing is used. now is held against the profile's validity. refused, where not "",
// says why absolute readings were withheld.
func Recording(take *capture.Take, proof *capture.Proof, sig *testsignals.Signal, patch []Patching, profile *Profile, now time.Time) (rec *analysis.Recording, refused string, err error) {
	rec = &analysis.Recording{Signal: sig, RateHz: float64(take.RateHz), State: take.State, NominalMainsHz: take.MainsHz}
	if proof != nil {
		rec.OffsetFrames = proof.OffsetFrames
	}
	if take.ClockError != nil {
		rec.ClockStdS = take.ClockError.MiddleStdS
	}
	if profile != nil {
		if refused, err = profile.Check(take.Instrument.Device, take.RateHz, now); err != nil {
			return nil, "", err
		}
	}
	for _, p := range patch {
		row, err := rowOf(take, p.Input)
		if err != nil {
			return nil, "", fmt.Errorf("reading output %s: %w", p.Output, err)
		}
		rec.Outputs = append(rec.Outputs, p.Output)
		rec.Samples = append(rec.Samples, take.Samples[row])
		if proof != nil {
			c := proof.Channels[row]
			rec.Problems = append(rec.Problems, c.Problem)
			if c.Problem == "" {
				// A response is read from the first arrival on.
				rec.OffsetFrames = math.Min(rec.OffsetFrames, c.OffsetFrames)
			}
			rec.MarkChangeDB = append(rec.MarkChangeDB, analysis.Estimate{Value: c.MarkChangeDB, Std: c.MarkChangeStdDB})
		}
		if profile == nil {
			continue
		}
		b, err := profile.Known(p.Input)
		if err != nil {
			return nil, "", fmt.Errorf("reading output %s: %w", p.Output, err)
		}
		if refused != "" {
			b.VoltsPerUnit, b.Floor = 0, nil
		}
		if profile.foreign(take.Instrument.Device) {
			b = analysis.BenchInput{}
		}
		rec.Bench = append(rec.Bench, b)
	}
	return rec, refused, nil
}

func rowOf(take *capture.Take, input int) (int, error) {
	for row, in := range take.Inputs {
		if in == input {
			return row, nil
		}
	}
	return 0, fmt.Errorf("the take holds inputs %v, not input %d", take.Inputs, input)
}
