package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

const (
	// floorMarksDBFS is the level of the marks around the silence with the inputs
	// terminated: high enough to be found in any noise if a lead is still in.
	floorMarksDBFS = -60.0
	// crosstalkAtMostDB is less than what an interface keeps its output from an
	// input with nothing in it by: common practice, no source.
	crosstalkAtMostDB = 40.0
	// loudestFloorDBFS is more than an input in order has with a plug in it that
	// shorts it: common practice, no source.
	loudestFloorDBFS = -60.0
)

var errNotTerminated = errors.New("the inputs are not terminated")

// floors reads the bench's own noise and hum with the inputs terminated, and
// asks again while they are not.
func (s *Sitting) floors(ctx context.Context, plan CalibrationPlan, p *calibration.Profile) error {
	if plan.LeadStays {
		s.Person.Tell(ctx, talk.Remarkf("the loopback lead stays in: the bench's own noise is read with the output's in it"))
	} else if err := s.ready(ctx, terminatedPrompt, ""); err != nil {
		return err
	}
	for {
		spec := testsignals.New(testsignals.Silence, s.Instrument.Describe().RateHz, floorMarksDBFS, 0)
		t, err := s.Take(ctx, "silence with the inputs terminated", spec, capture.Terminated, "")
		if err != nil {
			return err
		}
		rec, err := s.Recording(t)
		if err != nil {
			return err
		}
		// The marks are no part of the floor; latency is far less than the
		// silence to either side of the body.
		body := t.Signal.Body
		for i, x := range rec.Samples {
			rec.Samples[i] = x[body.Start:body.End]
		}
		wrong, err := s.notTerminated(t, rec, p)
		if err != nil {
			return err
		}
		if wrong == "" || plan.LeadStays {
			return calibration.AddFloors(p.Inputs, rec)
		}
		_, err = s.Person.Ask(ctx, talk.Question{Kind: talk.Choose, Prompt: fmt.Sprintf("%v: %s", errNotTerminated, wrong), Flag: "lead-stays",
			Choices: []talk.Choice{{Key: "", Means: "measure again: " + terminatedPrompt}}})
		if errors.Is(err, talk.ErrNobody) {
			return fmt.Errorf("%w: %s: %s; --lead-stays reads the bench's noise with the lead in where it cannot be unplugged", errNotTerminated, wrong, terminatedPrompt)
		}
		if err != nil {
			return err
		}
	}
}

// notTerminated says which inputs still carry what was played, or are as loud as
// an input is with something else in it; "" where none does. bodies are the
// silences alone.
func (s *Sitting) notTerminated(t *Taken, bodies *analysis.Recording, p *calibration.Profile) (string, error) {
	var wrong []string
	proof, err := capture.Check(t.Take, t.Signal, capture.Expect{})
	var bad *capture.BadTake
	if err != nil && !errors.As(err, &bad) {
		return "", err
	}
	heard, _, err := calibration.Recording(t.Take, proof, t.Signal, s.Patching, p, s.Now())
	if err != nil {
		return "", err
	}
	for i, c := range s.Patching {
		var sum float64
		for _, v := range bodies.Samples[i] {
			sum += v * v
		}
		// A sine of full scale has a mean square of a half (AES17).
		level := 10 * math.Log10(2*sum/float64(len(bodies.Samples[i])))
		over, ok := heard.OverLoopback(i)
		switch {
		case bad == nil && ok && over.Value > -crosstalkAtMostDB:
			wrong = append(wrong, fmt.Sprintf("input %d still carries what the output plays, %.1f dB against the loopback lead", c.Input, over.Value))
		case level > loudestFloorDBFS:
			wrong = append(wrong, fmt.Sprintf("input %d reads %.0f dBFS while nothing is played, as with a lead or an open plug in it", c.Input, level))
		}
	}
	return strings.Join(wrong, "; "), nil
}
