package procedure

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
)

// BenchCheck is what the check of a bench before use gave.
type BenchCheck struct {
	// Readings are how far the gain of each input is from the profile's.
	Readings []analysis.Reading
	// Taken is nil where nothing was played.
	Taken *Taken
	// Note says what there is to say of a bench that was not checked.
	Note string
}

// BenchNotChecked is kept with whatever was measured without the check.
const BenchNotChecked = "bench not checked before use"

// CheckStep is what the check's take and readings are called by.
const CheckStep = "bench check"

const checkPrompt = "before the board: connect the output straight to %s with the loopback lead, as when the bench was calibrated"

// CheckBench plays a short tone through the loopback lead before a board is
// connected and holds the gain of each input against the profile. The error
// of a bench that has moved says which control to look at. A profile of
// another device says nothing of this one, so it is not checked against.
func (s *Sitting) CheckBench(ctx context.Context) (*BenchCheck, error) {
	const doing = "checking the bench before use"
	d := s.Instrument.Describe()
	switch {
	case s.Profile == nil:
		return &BenchCheck{Note: BenchNotChecked + ": it has no profile"}, nil
	case s.Profile.Instrument.Device != d.Device:
		return &BenchCheck{Note: BenchNotChecked + ": its profile is of another device"}, nil
	}
	if err := s.ready(ctx, fmt.Sprintf(checkPrompt, s.inputWords()), MeasureCaution); err != nil {
		return nil, fmt.Errorf("%s: %w", doing, err)
	}
	taken, err := s.Take(ctx, "check of the bench", calibration.CheckTone(d.RateHz), capture.Loopback, "")
	var refused *RefusedTake
	if errors.As(err, &refused) && refused.Fault == capture.NoSignal {
		return nil, fmt.Errorf("%s: %w: is the loopback lead in?", doing, err)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", doing, err)
	}
	check, drifts, err := s.readCheck(taken)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", doing, err)
	}
	if advice := calibration.DriftAdvice(drifts); advice != "" {
		if s.Profile.Controls != "" {
			advice += "; noted then: " + s.Profile.Controls
		}
		return nil, fmt.Errorf("%s: %s", doing, advice)
	}
	for _, d := range drifts {
		s.Person.Tell(ctx, talk.InputChecked{Input: d.Input, DB: d.DB, LimitDB: d.LimitDB})
	}
	return check, nil
}

// PastCheck reads a check that was made before the sitting was left.
func (s *Sitting) PastCheck(e Entry) (*BenchCheck, error) {
	take, err := e.Load()
	if err != nil {
		return nil, err
	}
	taken, err := s.prove(take, e.Attempt)
	if err != nil {
		return nil, err
	}
	check, _, err := s.readCheck(taken)
	return check, err
}

// readCheck reads how far each input is from its profile.
func (s *Sitting) readCheck(taken *Taken) (*BenchCheck, []calibration.Drift, error) {
	rec, _, err := calibration.Recording(taken.Take, taken.Proof, taken.Signal, s.Patching, nil, s.Now())
	if err != nil {
		return nil, nil, err
	}
	drifts, err := s.Profile.Drifts(rec, s.Patching)
	if err != nil {
		return nil, nil, err
	}
	check := &BenchCheck{Taken: taken}
	for _, d := range drifts {
		check.Readings = append(check.Readings, d.Reading(taken.Signal.FrequencyHz))
	}
	return check, drifts, nil
}

func (s *Sitting) inputWords() string {
	words := make([]string, len(s.Patching))
	for i, c := range s.Patching {
		words[i] = fmt.Sprint(c.Input)
	}
	if len(words) == 1 {
		return "input " + words[0]
	}
	last := len(words) - 1
	return "inputs " + strings.Join(words[:last], ", ") + " and " + words[last]
}

// mark says of each reading that only relative ones can be believed, and why,
// where the profile's validity withholds absolute ones.
func (s *Sitting) mark(res *analysis.Result) error {
	if s.Profile == nil {
		return nil
	}
	d := s.Instrument.Describe()
	why, err := s.Profile.Check(d.Device, d.RateHz, s.Now())
	if err != nil || why == "" {
		return err
	}
	for i := range res.Readings {
		note := &res.Readings[i].Note
		if *note != "" {
			*note += "; "
		}
		*note += "not absolute: " + why
	}
	for i := range res.Refused {
		if res.Refused[i].Reason == analysis.NoVolts {
			res.Refused[i].Reason = why
		}
	}
	return nil
}

// AddCheck puts the check ahead of what the plan gave.
func (a *Accepted) AddCheck(c *BenchCheck) {
	var judged []verdict.Judged
	for _, r := range c.Readings {
		judged = append(judged, verdict.Judged{Reading: r})
	}
	a.Readings = append(judged, a.Readings...)
	if c.Taken != nil {
		a.Takes = append([]StepTake{{Step: CheckStep, Taken: c.Taken}}, a.Takes...)
	}
}
