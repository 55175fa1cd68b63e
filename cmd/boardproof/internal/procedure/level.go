package procedure

import (
	"context"
	"fmt"
	"math"

	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/testsignals"
)

const (
	// tryBelowDB is how far below a step's level its first, short tone is.
	tryBelowDB = 20.0
	// headroomDBFS is the highest peak that the level itself may then have:
	// a sweep through a peak in the response needs room.
	headroomDBFS = -3.0
	// minPlayDBFS and maxPlayDBFS bound what may be played at all.
	minPlayDBFS = -90.0
	maxPlayDBFS = 0.0
)

// level finds what to play for a step, in dBFS, and the gains that were seen.
// Before anything loud, a short tone 20 dB quieter shows what comes back; when
// the step's own level would clip an input, the step is refused with how far to
// turn which control down.
func (s *Sitting) level(ctx context.Context, step verdict.Step) (float64, seen, error) {
	level := s.LevelDBFS(step.LevelDBu)
	if level > maxPlayDBFS || level < minPlayDBFS {
		return 0, nil, fmt.Errorf("the plan's level of %.1f dBu would be %.1f dBFS at this output: change level_dbu in the plan, or the output's control and then calibrate",
			step.LevelDBu, level)
	}
	key := levelChecked{step.Patch, step.State, level}
	if gains, done := s.checked[key]; done || onlySilence(step) {
		return level, gains, nil
	}
	quiet := math.Max(level-tryBelowDB, minPlayDBFS)
	spec := testsignals.New(testsignals.Tone, s.Instrument.Describe().RateHz, quiet, 0.3)
	t, err := s.lookedAt(ctx, step, nil, func() (*Taken, error) {
		return s.Take(ctx, "level check", spec, capture.Patch(step.Patch), step.State)
	})
	if err != nil {
		return 0, nil, err
	}
	for _, c := range t.Proof.Channels {
		if peak := c.PeakDBFS + level - quiet; c.Problem == "" && peak > headroomDBFS {
			return 0, nil, &RefusedTake{Last: t.Proof, Reason: fmt.Sprintf("input %d would reach %.1f dBFS at this step's level: turn its gain down by at least %.0f dB, then calibrate",
				c.Input, peak, math.Ceil(peak-headroomDBFS))}
		}
	}
	gains, err := s.gainsSeen(t)
	if err != nil {
		return 0, nil, err
	}
	if s.checked == nil {
		s.checked = map[levelChecked]seen{}
	}
	s.checked[key] = gains
	return level, gains, nil
}

func onlySilence(step verdict.Step) bool {
	for _, k := range step.Signals {
		if k != testsignals.Silence {
			return false
		}
	}
	return true
}
