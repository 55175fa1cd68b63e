package randombench

import (
	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

// boardDBFS is what the boards are measured with.
const boardDBFS = -24.0

// ReadSweep reads the board on sim with a sweep of these seconds.
func ReadSweep(sim *simboard.Simboard, p *calibration.Profile, seconds float64) (analysis.Result, error) {
	t, err := Record(sim, testsignals.New(testsignals.Sweep, RateHz, boardDBFS, seconds), capture.ToBoard)
	if err != nil {
		return analysis.Result{}, err
	}
	rec, err := t.Recording(p)
	if err != nil {
		return analysis.Result{}, err
	}
	return analysis.SweepResult(rec, nil, analysis.DefaultBand)
}

// ReadSilence reads it in silence; it also returns from when to when the silence lasted, in seconds of
// the take.
func ReadSilence(sim *simboard.Simboard, p *calibration.Profile, seconds float64) (res analysis.Result, span [2]float64, err error) {
	t, err := Record(sim, testsignals.New(testsignals.Silence, RateHz, boardDBFS, seconds), capture.ToBoard)
	if err != nil {
		return res, span, err
	}
	rec, err := t.Recording(p)
	if err != nil {
		return res, span, err
	}
	body := t.Signal.Body
	span = [2]float64{(rec.OffsetFrames + float64(body.Start)) / RateHz, (rec.OffsetFrames + float64(body.End)) / RateHz}
	res, err = analysis.SilenceOf(rec)
	return res, span, err
}

// ReadTone reads it with a tone of 1 kHz of these seconds.
func ReadTone(sim *simboard.Simboard, p *calibration.Profile, seconds float64) (analysis.Result, error) {
	t, err := Record(sim, testsignals.New(testsignals.Tone, RateHz, boardDBFS, seconds), capture.ToBoard)
	if err != nil {
		return analysis.Result{}, err
	}
	rec, err := t.Recording(p)
	if err != nil {
		return analysis.Result{}, err
	}
	return analysis.ToneResult(rec)
}
