package procedure

import (
	"context"
	"fmt"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// Accepted is what an acceptance gave.
type Accepted struct {
	Readings []verdict.Judged
	Curves   []analysis.Curve
	Refused  []analysis.Refusal
	// Takes are all that proved themselves, in order, with the step each
	// belongs to.
	Takes []StepTake
}

// StepTake is a take and the step it was made for.
type StepTake struct {
	Step string
	*Taken
	// LeftOut says why no reading was made of it, "" where it was used.
	LeftOut string
	// Again: it was taken in place of one that was left out.
	Again bool
}

// Accept carries plan out once. A step whose takes keep failing is refused
// and the sitting goes on; an instrument that fails, or an operator who ends
// it, ends the sitting with an error and nothing is kept.
func (s *Sitting) Accept(ctx context.Context, plan verdict.Plan) (*Accepted, error) {
	a := &Accepted{}
	if err := CheckPlanWords(plan); err != nil {
		return nil, err
	}
	for i, step := range plan.Steps {
		title := fmt.Sprintf("step %d of %d: %s", i+1, len(plan.Steps), step.Name)
		s.Person.Tell(ctx, talk.StepBegun{N: i + 1, Of: len(plan.Steps), Name: step.Name})
		if err := s.ready(ctx, step.Prompt, step.Caution); err != nil {
			return nil, fmt.Errorf("%s: %w", title, err)
		}
		res, takes, err := s.step(ctx, step)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", title, err)
		}
		s.Person.Tell(ctx, a.add(step, s.outputs(), plan.Rule, res, takes))
	}
	return a, s.Finish(ctx)
}

// add judges what a step gave, adds it and returns what there is to tell of it.
func (a *Accepted) add(step verdict.Step, outputs []string, rule verdict.Rule, res analysis.Result, takes []StepTake) talk.StepRead {
	readings, curves := len(a.Readings), len(a.Curves)
	a.Takes = append(a.Takes, takes...)
	a.Readings = append(a.Readings, verdict.Apply(step, outputs, rule, res)...)
	for _, c := range res.Curves {
		// Judged by, and large: what is kept is the curve itself.
		c.Fine = nil
		a.Curves = append(a.Curves, c)
	}
	a.Refused = append(a.Refused, res.Refused...)
	return talk.StepRead{Name: step.Name, Readings: a.Readings[readings:], Curves: a.Curves[curves:], Refused: res.Refused}
}

// step takes and reads all that one step asks for.
func (s *Sitting) step(ctx context.Context, step verdict.Step) (analysis.Result, []StepTake, error) {
	level, gains, err := s.level(ctx, step)
	if err != nil {
		return s.refuseStep(step, err)
	}
	return s.stepOf(ctx, &collected{sit: s, step: step, level: level, seen: gains, good: map[testsignals.Kind][]*Taken{}})
}

// stepOf collects the takes of a step and reads them.
func (s *Sitting) stepOf(ctx context.Context, c *collected) (res analysis.Result, _ []StepTake, err error) {
	step := c.step
	for _, kind := range step.Signals {
		if err := c.collect(ctx, kind); err != nil {
			refused, err := s.Refusals(err, kind, step.State, alsoRead(step, kind)...)
			if err != nil {
				return res, nil, err
			}
			res.Add(refused)
		}
	}
	read, err := c.readAll(ctx)
	if err != nil {
		return res, nil, err
	}
	res.Add(read)
	return res, c.all, s.mark(&res)
}

func (s *Sitting) refuseStep(step verdict.Step, cause error) (analysis.Result, []StepTake, error) {
	var res analysis.Result
	for _, kind := range step.Signals {
		refused, err := s.Refusals(cause, kind, step.State, alsoRead(step, kind)...)
		if err != nil {
			return res, nil, err
		}
		res.Add(refused)
	}
	return res, nil, nil
}

// alsoRead is what step asks of a signal beside what is always read from it.
func alsoRead(step verdict.Step, kind testsignals.Kind) []string {
	if kind == testsignals.Tone && reads(step, analysis.DropOuts) {
		return []string{analysis.DropOuts}
	}
	return nil
}

// readAll gives the takes of each signal to their estimator.
func (c *collected) readAll(ctx context.Context) (analysis.Result, error) {
	var res analysis.Result
	read := func(average averager, kinds ...testsignals.Kind) error {
		if len(c.good[kinds[0]]) == 0 {
			return nil
		}
		r, err := c.read(ctx, average, kinds...)
		res.Add(r)
		return err
	}
	if err := read(sweepsOver(c.step.Band()), testsignals.Sweep, testsignals.Impulses); err != nil {
		return res, err
	}
	flexed := reads(c.step, analysis.DropOuts)
	if flexed {
		if err := read(flexes, testsignals.Tone); err != nil {
			return res, err
		}
	}
	if !flexed || reads(c.step, analysis.ToneQuantities()...) {
		if err := read(tones, testsignals.Tone); err != nil {
			return res, err
		}
	}
	return res, read(silences, testsignals.Silence)
}

// reads says whether step has a limit on one of the quantities.
func reads(step verdict.Step, quantities ...string) bool {
	return slices.ContainsFunc(step.Reads(), func(q string) bool { return slices.Contains(quantities, q) })
}
