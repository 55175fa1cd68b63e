package procedure

import (
	"errors"
	"fmt"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/testsignals"
)

// Recording makes of t what the estimators work on.
func (s *Sitting) Recording(t *Taken) (*analysis.Recording, error) {
	rec, _, err := calibration.Recording(t.Take, t.Proof, t.Signal, s.Patching, s.Profile, s.Now())
	return rec, err
}

// Sweep reads responses and matches from a sweep, with a train of impulses as
// second opinion where there is one (nil otherwise).
func (s *Sitting) Sweep(sweep, impulses *Taken, band analysis.Band) (analysis.Result, error) {
	rec, err := s.Recording(sweep)
	if err != nil {
		return analysis.Result{}, err
	}
	var second *analysis.Recording
	if impulses != nil {
		if second, err = s.Recording(impulses); err != nil {
			return analysis.Result{}, err
		}
	}
	return analysis.SweepResult(rec, second, band)
}

// Tone reads level, gain, distortion and level match.
func (s *Sitting) Tone(t *Taken) (analysis.Result, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return analysis.Result{}, err
	}
	return analysis.ToneResult(rec)
}

// Flex counts drop-outs of a tone.
func (s *Sitting) Flex(t *Taken) (analysis.Result, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return analysis.Result{}, err
	}
	return analysis.FlexResult(rec)
}

// Silence reads noise, hum and tones of each output.
func (s *Sitting) Silence(t *Taken) (analysis.Result, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return analysis.Result{}, err
	}
	return analysis.SilenceOf(rec)
}

// quantitiesOf lists what a signal is played for, to be refused together when
// it cannot be had.
func quantitiesOf(kind testsignals.Kind) []string {
	switch kind {
	case testsignals.Sweep, testsignals.Impulses:
		return analysis.SweepQuantities()
	case testsignals.Tone:
		return analysis.ToneQuantities()
	default:
		return analysis.SilenceQuantities()
	}
}

// matchesOf lists what a signal tells of each output but the first.
func matchesOf(kind testsignals.Kind) []string {
	switch kind {
	case testsignals.Sweep:
		return analysis.SplitQuantities()
	case testsignals.Tone:
		return []string{analysis.LevelMatch}
	}
	return nil
}

// Refusals turns a refused take into refusals, one for each output and each
// quantity that is read from kind, and each that is named; other errors are
// passed on.
func (s *Sitting) Refusals(err error, kind testsignals.Kind, state string, named ...string) (analysis.Result, error) {
	var refused *RefusedTake
	if !errors.As(err, &refused) {
		return analysis.Result{}, fmt.Errorf("taking a %s: %w", kind, err)
	}
	var res analysis.Result
	for i, p := range s.Patching {
		for _, q := range append(quantitiesOf(kind), named...) {
			res.Refused = append(res.Refused, analysis.Refusal{Quantity: q, Output: p.Output, State: state, Reason: refused.Reason})
		}
		if i == 0 {
			continue
		}
		for _, q := range matchesOf(kind) {
			res.Refused = append(res.Refused, analysis.Refusal{Quantity: q, Output: p.Output, Reference: s.Patching[0].Output, State: state, Reason: refused.Reason})
		}
	}
	return res, nil
}
