package procedure

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// KeptTake is a take of a run and how it was used.
type KeptTake struct {
	Step string
	// Take is without its samples until it is read.
	Take *capture.Take
	// Load reads it with them.
	Load    func() (*capture.Take, error)
	Attempt int
	// Again: it was taken in place of one that was left out.
	Again bool
}

// Recompute carries plan out once more on the takes of an earlier run, in
// place of an instrument: the same steps, the same estimators, the profile of
// then. refused are the refusals of that run: what could not be taken then is
// refused again with the reason of then. s.Instrument is the one of then, and
// is not played on.
func (s *Sitting) Recompute(ctx context.Context, plan verdict.Plan, takes []KeptTake, refused []analysis.Refusal) (*Accepted, error) {
	a := &Accepted{}
	reasons := &pastReasons{sit: s, left: refused}
	for i, step := range plan.Steps {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		kept := &keptTakes{step: step, left: ofStep(takes, step.Name), reasons: reasons}
		s.Person.Tell(ctx, talk.StepBegun{N: i + 1, Of: len(plan.Steps), Name: step.Name})
		c := &collected{sit: s, step: step, good: map[testsignals.Kind][]*Taken{}, kept: kept}
		res, used, err := s.stepOf(ctx, c)
		if err != nil {
			return nil, fmt.Errorf("step %s: %w", step.Name, err)
		}
		s.Person.Tell(ctx, a.add(step, s.outputs(), plan.Rule, res, used))
	}
	return a, s.recomputeCheck(a, takes)
}

// recomputeCheck reads the check of the bench before use, where there was one.
func (s *Sitting) recomputeCheck(a *Accepted, takes []KeptTake) error {
	of := ofStep(takes, CheckStep)
	if len(of) == 0 || s.Profile == nil {
		return nil
	}
	taken, err := of[0].taken()
	if err != nil {
		return fmt.Errorf("%s: %w", CheckStep, err)
	}
	check, _, err := s.readCheck(taken)
	if err != nil {
		return fmt.Errorf("%s: %w", CheckStep, err)
	}
	a.AddCheck(check)
	return nil
}

func ofStep(takes []KeptTake, step string) (of []KeptTake) {
	for _, t := range takes {
		if t.Step == step {
			of = append(of, t)
		}
	}
	return of
}

// taken lets a take prove itself again.
func (k KeptTake) taken() (*Taken, error) {
	take, err := k.Load()
	if err != nil {
		return nil, err
	}
	*k.Take = *take
	sig, err := testsignals.Generate(k.Take.Signal)
	if err != nil {
		return nil, fmt.Errorf("making its signal again: %w", err)
	}
	proof, err := capture.Check(k.Take, sig, expected(k.Take.Patch))
	var bad *capture.BadTake
	if errors.As(err, &bad) {
		return nil, &RefusedTake{Reason: bad.Error(), Fault: bad.Fault, Last: proof}
	}
	if err != nil {
		return nil, err
	}
	return &Taken{Signal: sig, Take: k.Take, Proof: proof, Attempt: k.Attempt, load: k.Load}, nil
}

// keptTakes are the takes of one step that were not read yet.
type keptTakes struct {
	step    verdict.Step
	left    []KeptTake
	reasons *pastReasons
}

// first counts the takes of kind that were made before any was made again; at
// least one, so that one that is missing is refused.
func (k *keptTakes) first(kind testsignals.Kind) int {
	n := 0
	for _, t := range k.left {
		if t.Take.Signal.Kind == kind && !t.Again {
			n++
		}
	}
	return max(n, 1)
}

func (k *keptTakes) next(kind testsignals.Kind) (*Taken, error) {
	i := slices.IndexFunc(k.left, func(t KeptTake) bool { return t.Take.Signal.Kind == kind })
	if i < 0 {
		return nil, &RefusedTake{Reason: k.reasons.of(k.step, kind)}
	}
	t := k.left[i]
	k.left = slices.Delete(slices.Clone(k.left), i, i+1)
	return t.taken()
}

// pastReasons are the refusals of an earlier run, in the order in which they
// came.
type pastReasons struct {
	sit  *Sitting
	left []analysis.Refusal
}

const noKeptTake = "no take of it was kept"

// of finds why no take of kind could be had in a step: the refusals that such
// a failure leaves stand one after another with one reason.
func (p *pastReasons) of(step verdict.Step, kind testsignals.Kind) string {
	want, err := p.sit.Refusals(&RefusedTake{}, kind, step.State, alsoRead(step, kind)...)
	n := len(want.Refused)
	for i := 0; err == nil && n > 0 && i+n <= len(p.left); i++ {
		reason := p.left[i].Reason
		same := func(a, b analysis.Refusal) bool { a.Reason = reason; return a == b }
		if slices.EqualFunc(want.Refused, p.left[i:i+n], same) {
			p.left = p.left[i+n:]
			return reason
		}
	}
	return noKeptTake
}
