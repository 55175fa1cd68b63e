package procedure

import (
	"errors"

	"boardproof/capture"
)

// Operator is the person at the bench.
type Operator interface {
	// Ready asks for something to be done and waits until it is. caution is
	// shown first. An error ends the procedure.
	Ready(prompt, caution string) error
	// Ask puts a question to which answers are all that can be said; it returns
	// the Key of one. The error is ErrNobody where nobody answers.
	Ask(question string, answers ...Answer) (string, error)
	// Say tells something that needs no answer.
	Say(text string)
	// Watch shows a recording of seconds as it runs; done is called once at
	// its end.
	Watch(what string, seconds float64) (progress func(capture.Progress), done func())
}

// Answer is one way to answer a question.
type Answer struct {
	// Key is what is typed, "" for Enter alone.
	Key string
	// Means says what comes of it.
	Means string
}

// ErrBack is that the operator does not want what was chosen, and goes back to
// what can be chosen.
var ErrBack = errors.New("back to the list")

// backer is an operator who can be asked for something and go back instead.
type backer interface {
	// ReadyOrBack is Ready, with ErrBack for an operator who goes back.
	ReadyOrBack(prompt, caution string) error
}

// ErrNobody is that a question was put where nobody answers.
var ErrNobody = errors.New("nobody is there to answer")

// Unattended is an Operator that is always ready and sees nothing: for tests
// and for --yes.
type Unattended struct{}

// Ready returns at once.
func (Unattended) Ready(string, string) error { return nil }

// Ask says that nobody is there.
func (Unattended) Ask(string, ...Answer) (string, error) { return "", ErrNobody }

// Say says nothing.
func (Unattended) Say(string) {}

// Watch shows nothing.
func (Unattended) Watch(string, float64) (func(capture.Progress), func()) {
	return func(capture.Progress) {}, func() {}
}
