package procedure

import "boardproof/capture"

// Operator is the person at the bench.
type Operator interface {
	// Ready asks for something to be done and waits until it is. caution is
	// shown first. An error ends the procedure.
	Ready(prompt, caution string) error
	// Say tells something that needs no answer.
	Say(text string)
	// Watch shows a recording of seconds as it runs; done is called once at
	// its end.
	Watch(what string, seconds float64) (progress func(capture.Progress), done func())
}

// Unattended is an Operator that is always ready and sees nothing: for tests
// and for --yes.
type Unattended struct{}

// Ready returns at once.
func (Unattended) Ready(string, string) error { return nil }

// Say says nothing.
func (Unattended) Say(string) {}

// Watch shows nothing.
func (Unattended) Watch(string, float64) (func(capture.Progress), func()) {
	return func(capture.Progress) {}, func() {}
}
