// Package talk is how the program talks to the person at the bench: it asks,
// and it tells. Whatever is done at the bench or in the workshop goes through a
// [Person], whether that is somebody at a terminal, at a page in a browser, or a
// script of answers.
//
// In this room: the kinds of question with what may be answered, the events
// with their words, and a Person that is nobody and one that is a script. Not in
// this room: how a question or an event looks (terminal, page).
package talk

import (
	"context"
	"errors"
)

// Person is whoever does what is to be done at the bench and answers.
type Person interface {
	// Ask puts a question and waits for its answer. It returns one of
	//
	//  1. an answer that q allows, and no error;
	//  2. [ErrStopped]: the person ends what is going on;
	//  3. [ErrBack]: the person goes back to what can be chosen, where q.Back;
	//  4. [ErrNobody]: nobody is there to answer. Never to a question of kind
	//     Do, which then counts as done;
	//  5. [ErrNoAnswer]: the answers ended before the questions did;
	//  6. a [*WrongAnswer]: a script is out of step with the questions;
	//  7. ctx.Err(), as soon as ctx is done, whatever is being waited for.
	//
	// What a person gave before the question was put never answers it; a script's
	// answers are all given before, one for each question in their order.
	Ask(ctx context.Context, q Question) (Answer, error)
	// Tell tells what happened. It needs no answer, and it may be called while
	// something is recorded: it does not wait for anybody.
	Tell(ctx context.Context, e Event)
}

var (
	// ErrStopped ends what is going on at the person's wish.
	ErrStopped = errors.New("stopped at the prompt; nothing of this was kept")
	// ErrBack is that the person does not want what was chosen, and goes back to
	// what can be chosen.
	ErrBack = errors.New("back to the list")
	// ErrNobody is that a question was put where nobody answers.
	ErrNobody = errors.New("nobody is there to answer")
	// ErrNoAnswer is that a person should be there and none is.
	ErrNoAnswer = errors.New("there is no answer to read: answer at the prompt, or use --yes")
)

// WrongAnswer is an answer that the question does not allow.
type WrongAnswer struct{ Err error }

func (w *WrongAnswer) Error() string { return w.Err.Error() }
func (w *WrongAnswer) Unwrap() error { return w.Err }

// Nobody is a Person that is always ready, answers nothing and hears nothing.
type Nobody struct{}

var _ Person = Nobody{}

// Ask counts what is to be done as done.
func (Nobody) Ask(ctx context.Context, q Question) (Answer, error) { return Unattended(ctx, q) }

// Tell tells nobody.
func (Nobody) Tell(context.Context, Event) {}

// Unattended is what Ask returns where nobody is there.
func Unattended(ctx context.Context, q Question) (Answer, error) {
	switch err := q.Fault(); {
	case err != nil:
		return Answer{}, err
	case ctx.Err() != nil:
		return Answer{}, ctx.Err()
	case q.Kind == Do:
		return Answer{}, nil
	}
	return Answer{}, ErrNobody
}
