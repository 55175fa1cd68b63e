package procedure

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// Entry is one thing that a sitting came to and need not come to again: a take
// that proved itself, one that could not be had, an answer, or a prompt that
// all before it was done for.
type Entry struct {
	// What is the prompt, the answer's name or what was taken.
	What   string
	Prompt bool
	// Take is nil where it is none. In one that was kept it is without samples.
	Take    *capture.Take
	Attempt int
	// Refused is why a take could not be had, Last what the last try showed.
	Refused string
	Fault   capture.Fault
	Last    *capture.Proof
	// Answer is of a question; with a take, what LikeLead says of the board.
	Answer json.RawMessage
	// Load reads the samples of a take that was kept.
	Load func() (*capture.Take, error)
}

// Journal keeps each entry of a sitting as soon as it is made. load, where not
// nil, reads the entry's take back with its samples.
type Journal interface {
	Keep(ctx context.Context, e Entry) (load func() (*capture.Take, error), err error)
}

// What is written down beside what is taken.
const (
	// ended is the prompt of what comes after the last.
	ended = "end"
	// resumed is where a sitting was gone on with.
	resumed = "gone on with"
)

// Record is a sitting's journal together with what the sitting came to before
// it was left. It takes the place of the sitting's person, so that nobody is
// asked for what was done already.
type Record struct {
	talk.Person
	journal Journal
	// past is what is left of what was kept, in whole blocks: from one prompt
	// to the next.
	past    []Entry
	resumed bool
	// again is the last prompt that nobody was asked, as what it asks for was had.
	again *talk.Question
	// first, where not nil, is done once before anything new.
	first func(context.Context) error
	// aside: what is asked and taken now is no part of the sitting's order.
	aside  bool
	broken bool
}

// Keep lets a sitting write down what it comes to, and go on where past ends.
// What was taken since its last prompt is taken again, as nobody knows what was
// done to the leads meanwhile.
func (s *Sitting) Keep(j Journal, past []Entry) {
	s.log = &Record{Person: s.Person, journal: j, past: wholeBlocks(past), resumed: len(past) > 0}
	s.Person = s.log
}

// wholeBlocks are the entries from the first prompt to the last, without what
// was taken once more later.
func wholeBlocks(all []Entry) (past []Entry) {
	last := -1
	for _, e := range all {
		switch {
		case e.What == resumed && !e.Prompt:
			past = past[:last+1]
		case e.Prompt && last >= 0 && last == len(past)-1 && past[last].What == e.What:
			// The same once more.
		case e.Prompt:
			last = len(past)
			past = append(past, e)
		case last >= 0:
			past = append(past, e)
		}
	}
	return past[:max(last, 0)]
}

// Steps counts the prompts that all was done for.
func Steps(all []Entry) (n int) {
	for _, e := range wholeBlocks(all) {
		if e.Prompt {
			n++
		}
	}
	return n
}

// Done says whether past holds all that a sitting takes.
func Done(past []Entry) bool {
	return slices.ContainsFunc(past, func(e Entry) bool { return e.Prompt && e.What == ended })
}

// Note writes down what is no part of a sitting's order.
func (s *Sitting) Note(ctx context.Context, e Entry) error {
	_, err := s.log.keep(ctx, e)
	return err
}

// Finish writes down that all was taken.
func (s *Sitting) Finish(ctx context.Context) error {
	return s.Note(ctx, Entry{What: ended, Prompt: true})
}

// Ask asks for what was not done yet, and gives the answer of before to what
// was answered before. A figure is kept by [answered], with what it is for.
func (r *Record) Ask(ctx context.Context, q talk.Question) (talk.Answer, error) {
	switch {
	case r.aside:
	case q.Kind == talk.Do:
		return r.askToDo(ctx, q)
	case q.Kind == talk.Choose:
		return r.askToChoose(ctx, q)
	}
	return r.Person.Ask(ctx, q)
}

func (r *Record) askToDo(ctx context.Context, q talk.Question) (talk.Answer, error) {
	if len(r.past) > 0 && r.past[0].Prompt && r.past[0].What == q.Prompt {
		r.past, r.again = r.past[1:], &q
		r.Tell(ctx, talk.TakenBefore{})
		return talk.Answer{}, nil
	}
	if err := r.live(ctx, false); err != nil {
		return talk.Answer{}, err
	}
	if _, err := r.keep(ctx, Entry{What: q.Prompt, Prompt: true}); err != nil {
		return talk.Answer{}, err
	}
	return r.Person.Ask(ctx, q)
}

func (r *Record) askToChoose(ctx context.Context, q talk.Question) (talk.Answer, error) {
	if len(r.past) > 0 {
		e, key := r.past[0], ""
		if e.What != q.Prompt || json.Unmarshal(e.Answer, &key) != nil {
			// Nobody was there to answer it then.
			return talk.Answer{}, talk.ErrNobody
		}
		r.past = r.past[1:]
		return talk.Answer{Key: key}, nil
	}
	a, err := r.Person.Ask(ctx, q)
	if err != nil {
		return a, err
	}
	text, err := json.Marshal(a.Key)
	if err != nil {
		return a, err
	}
	_, err = r.keep(ctx, Entry{What: q.Prompt, Answer: text})
	return a, err
}

// live begins what is new.
func (r *Record) live(ctx context.Context, ask bool) error {
	r.past = nil
	first, again, was := r.first, r.again, r.resumed
	r.first, r.again, r.resumed = nil, nil, false
	if was {
		if _, err := r.keep(ctx, Entry{What: resumed}); err != nil {
			return err
		}
	}
	if first != nil && was {
		r.setAside(true)
		err := first(ctx)
		if r.setAside(false); err != nil {
			return err
		}
	}
	if ask && again != nil {
		_, err := r.Person.Ask(ctx, *again)
		return err
	}
	return nil
}

// keep writes an entry down. A sitting whose journal cannot be written goes on
// without: its readings are worth more.
func (r *Record) keep(ctx context.Context, e Entry) (load func() (*capture.Take, error), err error) {
	if r == nil || r.broken || r.aside {
		return nil, nil
	}
	load, err = r.journal.Keep(ctx, e)
	if err != nil && ctx.Err() == nil {
		r.broken = true
		r.Tell(ctx, talk.Remark{Severity: talk.Caution, Text: fmt.Sprintf("this sitting cannot be written down, so it cannot be gone on with if it is left (%v); it goes on", err)})
		return nil, nil
	}
	return load, err
}

// had gives what was taken before in the place of a take.
func (s *Sitting) had(ctx context.Context, what string, spec testsignals.Spec, patch capture.Patch, state string) (*Taken, bool, error) {
	r := s.log
	if r == nil || r.aside {
		return nil, false, nil
	}
	if len(r.past) == 0 || !s.matches(r.past[0], what, spec, patch, state) {
		return nil, false, r.live(ctx, true)
	}
	e := r.past[0]
	if e.Take != nil && e.Answer != nil && json.Unmarshal(e.Answer, &s.likeLead) == nil {
		s.boardSeen = true
	}
	if e.Refused != "" {
		r.past = r.past[1:]
		return nil, true, &RefusedTake{Reason: e.Refused, Fault: e.Fault, Last: e.Last}
	}
	take, err := e.Load()
	if err == nil {
		var taken *Taken
		if taken, err = s.prove(take, e.Attempt); err == nil {
			r.past = r.past[1:]
			taken.load = e.Load
			return taken, true, nil
		}
	}
	s.Person.Tell(ctx, talk.Remarkf("%s, taken before, cannot be read any more (%v): taking it again", what, err))
	return nil, false, r.live(ctx, true)
}

func (s *Sitting) matches(e Entry, what string, spec testsignals.Spec, patch capture.Patch, state string) bool {
	if e.Prompt || e.What != what {
		return false
	}
	if e.Refused != "" {
		return true
	}
	return e.Take != nil && e.Take.Signal == spec && e.Take.Patch == patch && e.Take.State == state &&
		slices.Equal(e.Take.Inputs, s.inputs())
}

// prove lets a take that was kept prove itself again.
func (s *Sitting) prove(take *capture.Take, attempt int) (*Taken, error) {
	sig, err := s.signal(take.Signal)
	if err != nil {
		return nil, err
	}
	proof, err := s.check(take, sig, expected(take.Patch))
	if err != nil {
		return nil, err
	}
	return &Taken{Signal: sig, Take: take, Proof: proof, Attempt: attempt}, nil
}

// takeAgain is Take with what is to be done before a take is made again.
func (s *Sitting) takeAgain(ctx context.Context, what string, spec testsignals.Spec, patch capture.Patch, state string, again func() error) (*Taken, error) {
	t, had, err := s.had(ctx, what, spec, patch, state)
	if had || err != nil {
		return t, err
	}
	was := s.log.setAside(true)
	t, err = s.take(ctx, what, spec, patch, state, again)
	s.log.setAside(was)
	e := Entry{What: what}
	var refused *RefusedTake
	switch {
	case err == nil:
		e.Take, e.Attempt = t.Take, t.Attempt
		if e.Answer, err = json.Marshal(s.likeLead); s.likeLead == "" || err != nil {
			e.Answer = nil
		}
	case errors.As(err, &refused):
		e.Refused, e.Fault, e.Last = refused.Reason, refused.Fault, refused.Last
	default:
		return nil, err
	}
	load, keepErr := s.log.keep(ctx, e)
	if keepErr != nil {
		return nil, keepErr
	}
	if t != nil {
		t.load = load
	}
	return t, err
}

// setAside says whether what comes next is a part of the sitting's order, and
// returns what was said before.
func (r *Record) setAside(aside bool) (was bool) {
	if r != nil {
		was, r.aside = r.aside, aside
	}
	return was
}

// answered gives the answer to a question that was answered before, or asks.
func answered[T any](ctx context.Context, s *Sitting, what string, ask func() (T, error)) (T, error) {
	r := s.log
	if r != nil && len(r.past) > 0 && r.past[0].What == what && r.past[0].Answer != nil {
		var v T
		if err := json.Unmarshal(r.past[0].Answer, &v); err == nil {
			r.past = r.past[1:]
			return v, nil
		}
	}
	v, err := ask()
	if err != nil || r == nil {
		return v, err
	}
	text, err := json.Marshal(v)
	if err != nil {
		return v, err
	}
	_, err = r.keep(ctx, Entry{What: what, Answer: text})
	return v, err
}
