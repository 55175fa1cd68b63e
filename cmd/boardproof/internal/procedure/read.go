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
	take, sig, err := s.whole(t)
	if err != nil {
		return nil, err
	}
	rec, _, err := calibration.Recording(take, t.Proof, sig, s.Patching, s.Profile, s.Now())
	return rec, err
}

// sweepsOver reads responses and matches from sweeps, with trains of impulses
// as second opinion where there are some.
func sweepsOver(band analysis.Band) averager {
	return func(takes []analysis.Takes) (analysis.Result, [][]analysis.Spoilt, error) {
		res, spoilt, spoiltImpulses, err := analysis.AverageSweeps(takes[0], takes[1], band)
		return res, [][]analysis.Spoilt{spoilt, spoiltImpulses}, err
	}
}

// tones reads level, gain, distortion and level match.
func tones(takes []analysis.Takes) (analysis.Result, [][]analysis.Spoilt, error) {
	res, spoilt, err := analysis.AverageTones(takes[0])
	return res, [][]analysis.Spoilt{spoilt}, err
}

// flexes counts drop-outs of a tone, of which there is one.
func flexes(takes []analysis.Takes) (analysis.Result, [][]analysis.Spoilt, error) {
	rec, err := takes[0].Load(0)
	if err != nil {
		return analysis.Result{}, nil, err
	}
	res, err := analysis.FlexResult(rec)
	return res, make([][]analysis.Spoilt, 1), err
}

// silences reads noise, hum and tones of each output.
func silences(takes []analysis.Takes) (analysis.Result, [][]analysis.Spoilt, error) {
	res, spoilt, err := analysis.AverageSilences(takes[0])
	return res, [][]analysis.Spoilt{spoilt}, err
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
