package procedure

import (
	"context"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/testsignals"
)

// Proved takes from a recording made elsewhere, s.Instrument, the part that
// holds sig. The error is a *capture.BadTake when it does not prove itself.
func (s *Sitting) Proved(ctx context.Context, sig *testsignals.Signal, state string) (*analysis.Recording, *capture.Take, error) {
	take, err := s.record(ctx, string(sig.Kind), sig, capture.ToBoard, state)
	if err != nil {
		return nil, nil, err
	}
	proof, err := capture.Check(take, sig, capture.Expect{Clocks: capture.OneClock})
	if err != nil {
		return nil, nil, err
	}
	rec, _, err := calibration.Recording(take, proof, sig, s.Patching, nil, s.Now())
	return rec, take, err
}

// Recorded reads a recording made elsewhere, s.Instrument, of sig. impulses is
// a recording of impulses in the same state, the second opinion on a sweep;
// nil where there is none. volts is the peak voltage at which a sample reads
// 1.0, 0 when not known. The error is a *capture.BadTake when the recording
// does not prove itself.
func (s *Sitting) Recorded(ctx context.Context, sig *testsignals.Signal, impulses *analysis.Recording, state string, volts float64) (analysis.Result, error) {
	rec, take, err := s.Proved(ctx, sig, state)
	if err != nil {
		return analysis.Result{}, err
	}
	setVolts(rec, volts)
	res, err := readKind(rec, impulses, sig.Kind)
	if err != nil {
		return analysis.Result{}, err
	}
	if c := take.ClockError; c != nil {
		res.Readings = append(res.Readings, analysis.Reading{
			Quantity: analysis.ClockError, State: state, Value: c.PPM, Unit: "ppm",
			Uncertainty: analysis.CoverageK * c.StdPPM, K: analysis.CoverageK,
		})
	}
	return res, nil
}

func readKind(rec, impulses *analysis.Recording, kind testsignals.Kind) (analysis.Result, error) {
	switch kind {
	case testsignals.Sweep:
		return analysis.SweepResult(rec, impulses, analysis.DefaultBand)
	case testsignals.Tone:
		return analysis.ToneResult(rec)
	}
	return analysis.SilenceOf(rec)
}

func setVolts(rec *analysis.Recording, volts float64) {
	if volts == 0 {
		return
	}
	rec.Bench = make([]analysis.BenchInput, len(rec.Outputs))
	for i := range rec.Bench {
		rec.Bench[i].VoltsPerUnit = volts
	}
}

// wholeTake is a recording that can be had whole.
type wholeTake interface {
	Whole(inputs []int) (*capture.Take, error)
}

// WholeSilence reads a recording in which nothing was played, from its first
// frame to its last. Nothing proves its count of samples.
func (s *Sitting) WholeSilence(file wholeTake, state string, volts float64) (analysis.Result, error) {
	_, rec, err := s.wholeRecording(file, volts)
	if err != nil {
		return analysis.Result{}, err
	}
	rec.State = state
	return analysis.SilenceOf(rec)
}

func (s *Sitting) wholeRecording(file wholeTake, volts float64) (*capture.Take, *analysis.Recording, error) {
	take, err := file.Whole(s.inputs())
	if err != nil {
		return nil, nil, err
	}
	proof, err := capture.Check(take, nil, capture.Expect{NoSignal: true})
	if err != nil {
		return nil, nil, err
	}
	rec, _, err := calibration.Recording(take, proof, nil, s.Patching, nil, s.Now())
	if err != nil {
		return nil, nil, err
	}
	rec.MarkChangeDB = nil
	setVolts(rec, volts)
	return take, rec, nil
}
