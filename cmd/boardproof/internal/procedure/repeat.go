package procedure

import (
	"context"
	"errors"
	"fmt"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// enoughTakes is how many takes of one signal it needs for a spoilt one to be
// left out; of fewer it is taken again.
const enoughTakes = 3

// collected are the takes of one step.
type collected struct {
	sit   *Sitting
	step  verdict.Step
	level float64 // dBFS
	// seen are the gains at the level check.
	seen seen
	// good are those that readings are made of, all is in the order in which
	// they were made.
	good map[testsignals.Kind][]*Taken
	all  []StepTake
	// kept, where not nil, are the takes of a run that is computed again: none
	// is made.
	kept *keptTakes
}

// repeats is how often each signal of a step is taken. A step in which joints
// are flexed is played once: its drop-outs do not average.
func (s *Sitting) repeats(step verdict.Step) int {
	switch {
	case reads(step, analysis.DropOuts):
		return 1
	case s.Repeats > 0:
		return s.Repeats
	}
	return max(1, step.Repeats)
}

// collect takes a signal as often as the step asks for. Takes that keep
// failing are an error only where there is none before them.
func (c *collected) collect(ctx context.Context, kind testsignals.Kind) error {
	n := c.sit.repeats(c.step)
	if c.kept != nil {
		n = c.kept.first(kind)
	}
	for i := range n {
		what := string(kind)
		if n > 1 {
			what = fmt.Sprintf("%s %d of %d", kind, i+1, n)
		}
		err := c.take(ctx, kind, what, false)
		var refused *RefusedTake
		if i > 0 && errors.As(err, &refused) {
			c.sit.Person.Tell(ctx, talk.TakeMissing{What: what, Doing: fmt.Sprintf("could not be had, going on with %d", len(c.good[kind])), Reason: refused.Reason})
			return nil
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// take makes one take of a signal; again, in place of one that was spoilt.
func (c *collected) take(ctx context.Context, kind testsignals.Kind, what string, again bool) error {
	if again && c.kept == nil {
		if err := c.byHand(ctx); err != nil {
			return err
		}
	}
	t, err := c.next(ctx, kind, what)
	if err != nil {
		return err
	}
	t.putDown()
	c.good[kind] = append(c.good[kind], t)
	c.all = append(c.all, StepTake{Step: c.step.Name, Taken: t, Again: again})
	return nil
}

func (c *collected) next(ctx context.Context, kind testsignals.Kind, what string) (*Taken, error) {
	if c.kept != nil {
		return c.kept.next(kind)
	}
	spec := testsignals.New(kind, c.sit.Instrument.Describe().RateHz, c.level, c.step.DurationS)
	tries := 0
	take := func() (*Taken, error) {
		if tries++; tries > 1 {
			if err := c.byHand(ctx); err != nil {
				return nil, err
			}
		}
		return c.sit.takeAgain(ctx, what, spec, capture.Patch(c.step.Patch), c.step.State, func() error { return c.byHand(ctx) })
	}
	if len(c.good[kind]) > 0 {
		return take()
	}
	return c.sit.lookedAt(ctx, c.step, c.seen, take)
}

// byHand asks once more for what is done by hand while a take runs, such as
// flexing the joints: nobody goes on doing it when the take was thrown away.
func (c *collected) byHand(ctx context.Context) error {
	if !reads(c.step, analysis.DropOuts) {
		return nil
	}
	prompt := c.step.Prompt
	if prompt == "" {
		prompt = "do by hand what this step asks for"
	}
	return c.sit.ready(ctx, "once more, from the start: "+prompt, c.step.Caution)
}

// averager reads the takes of some kinds of signal together and says which of
// each kind were spoilt.
type averager func(takes []analysis.Takes) (analysis.Result, [][]analysis.Spoilt, error)

// read gives the takes of kinds to average. A take that was spoilt is left
// out; where there are fewer than enoughTakes it is taken again, and all are
// read anew.
func (c *collected) read(ctx context.Context, average averager, kinds ...testsignals.Kind) (analysis.Result, error) {
	for try := 1; ; try++ {
		res, spoilt, err := average(c.takes(kinds))
		if err != nil {
			return res, err
		}
		again := false
		for k, kind := range kinds {
			retake := len(c.good[kind]) < enoughTakes && try < maxTries
			c.leaveOut(ctx, kind, spoilt[k], retake)
			for range spoilt[k] {
				if !retake {
					break
				}
				again = true
				err := c.take(ctx, kind, fmt.Sprintf("%s again", kind), true)
				var refused *RefusedTake
				if errors.As(err, &refused) {
					c.sit.Person.Tell(ctx, talk.TakeMissing{What: string(kind), Doing: "could not be had again", Reason: refused.Reason})
					return res, nil
				}
				if err != nil {
					return res, err
				}
			}
		}
		if !again {
			return res, nil
		}
	}
}

func (c *collected) takes(kinds []testsignals.Kind) []analysis.Takes {
	takes := make([]analysis.Takes, len(kinds))
	for k, kind := range kinds {
		good := c.good[kind]
		takes[k] = analysis.Takes{N: len(good), Load: func(t int) (*analysis.Recording, error) { return c.sit.Recording(good[t]) }}
	}
	return takes
}

// leaveOut takes spoilt takes out of the good ones, and says so.
func (c *collected) leaveOut(ctx context.Context, kind testsignals.Kind, spoilt []analysis.Spoilt, retake bool) {
	gone := map[*Taken]string{}
	for _, s := range spoilt {
		t := c.good[kind][s.Take]
		gone[t] = s.Reason
		c.sit.Person.Tell(ctx, talk.TakeLeftOut{Signal: string(kind), N: s.Take + 1, Of: len(c.good[kind]), Reason: s.Reason, Again: retake})
	}
	var kept []*Taken
	for _, t := range c.good[kind] {
		if gone[t] == "" {
			kept = append(kept, t)
		}
	}
	c.good[kind] = kept
	for i, t := range c.all {
		if reason := gone[t.Taken]; reason != "" {
			c.all[i].LeftOut = reason
		}
	}
}
