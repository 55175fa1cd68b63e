package procedure

import (
	"context"
	"fmt"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/testsignals"
)

// What is asked before a single measurement.
const (
	MeasureCaution = "speakers and amplifiers unplugged or turned down; phantom power off; never a loudspeaker output into an interface"
	measurePrompt  = "connect the output to the board's input and the board's outputs to the inputs"
)

// Measure takes one measurement without a plan: a sweep (with impulses as
// second opinion), a tone or a silence, at levelDBu at the board's input.
func (s *Sitting) Measure(ctx context.Context, kind testsignals.Kind, levelDBu float64, state string) (analysis.Result, error) {
	if err := s.ready(ctx, measurePrompt, MeasureCaution); err != nil {
		return analysis.Result{}, err
	}
	signals := []testsignals.Kind{kind}
	if kind == testsignals.Sweep {
		signals = append(signals, testsignals.Impulses)
	}
	step := verdict.Step{State: state, Patch: string(capture.ToBoard), Signals: signals, LevelDBu: levelDBu}
	res, _, err := s.step(ctx, step)
	if err != nil {
		return res, fmt.Errorf("measuring: %w", err)
	}
	return res, nil
}
