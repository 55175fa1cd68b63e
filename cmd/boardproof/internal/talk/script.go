package talk

import (
	"context"
	"errors"
	"fmt"
	"sync"
)

// Script is a Person whose answers are given beforehand, in the order of the
// questions, as somebody would type them: "" for Enter alone. It keeps what it
// was asked and told.
type Script struct {
	Answers []string
	// Ready: what is to be done counts as done and takes no answer, and where the
	// answers have ended nobody is there.
	Ready bool
	// During, where not nil, sees each question before it is answered; its error
	// is the answer.
	During func(Question) error

	mu    sync.Mutex
	asked []Question
	told  []Event
}

var _ Person = (*Script)(nil)

// Ask gives the next answer.
func (s *Script) Ask(ctx context.Context, q Question) (Answer, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := errors.Join(q.Fault(), ctx.Err()); err != nil {
		return Answer{}, err
	}
	s.asked = append(s.asked, q)
	if s.During != nil {
		if err := s.During(q); err != nil {
			return Answer{}, err
		}
	}
	if s.Ready && (q.Kind == Do || len(s.Answers) == 0) {
		return Unattended(ctx, q)
	}
	for {
		if len(s.Answers) == 0 {
			return Answer{}, ErrNoAnswer
		}
		given := s.Answers[0]
		s.Answers = s.Answers[1:]
		a, err := q.Read(given)
		var wrong *WrongAnswer
		if !errors.As(err, &wrong) || !q.Repeats() {
			return a, err
		}
	}
}

// Tell keeps what happened, but for how far a take is.
func (s *Script) Tell(_ context.Context, e Event) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, running := e.(TakeRunning); !running {
		s.told = append(s.told, e)
	}
}

// Asked are all questions so far.
func (s *Script) Asked() []Question {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Question(nil), s.asked...)
}

// Told is all that was told so far.
func (s *Script) Told() []Event {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Event(nil), s.told...)
}

// Left is an error where answers are left over.
func (s *Script) Left() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := len(s.Answers); n > 0 {
		return fmt.Errorf("%d answers are left over, the next is %q", n, s.Answers[0])
	}
	return nil
}
