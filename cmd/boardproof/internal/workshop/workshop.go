// Package workshop is what a workshop does with the program: it sets up and
// calibrates benches, accepts, measures and serves boards, hunts hum, compares
// runs and keeps all of it. Each thing done is a method of [Workshop] with a
// request and a result; the command line and a page in a browser are two faces
// of the same methods.
//
// In this room: what is needed for each use, in which order, and what is decided
// on the way, such as which run a board was delivered with. Not in this room: the
// order of things at the bench (procedure), arithmetic on samples (analysis),
// SQL (db), and anything that is printed, parsed or drawn.
package workshop

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// Workshop is a store, the benches that it knows, and the person at them.
type Workshop struct {
	// Store is open. It is nil only for what is done before there is one.
	Store *db.Store
	// Path is where the store is, or will be.
	Path string
	// Open opens the instrument of a bench.
	Open Opener
	// Person is asked and told.
	Person talk.Person
	// Now is the clock.
	Now func() time.Time
	// Doing is what is being done, for whoever waits for the bench meanwhile.
	Doing string
}

// Opener opens the instrument of a bench, which close lets go; close is never
// nil.
type Opener func(b db.Bench, s Simulation) (in capture.Instrument, close func() error, err error)

// Kind is why something could not be done.
type Kind string

const (
	// Invalid is a request that makes no sense, or names what is not there.
	Invalid Kind = "invalid"
	// Unmeasured is that the instrument, or the person, did not give what is
	// needed.
	Unmeasured Kind = "unmeasured"
)

// Error is why something could not be done, by kind.
type Error struct {
	Kind Kind
	// Field is what of the request is wrong, as the command line calls it; "" where
	// it is nothing in particular. A form shows Reason beside it.
	Field string
	Err   error
}

// Error is the reason as the command line says it.
func (e *Error) Error() string {
	if e.Field != "" {
		return "--" + e.Field + e.Err.Error()
	}
	return e.Err.Error()
}

// Reason is what is wrong, without the field's name.
func (e *Error) Reason() string { return strings.TrimLeft(e.Err.Error(), ": ") }

func (e *Error) Unwrap() error { return e.Err }

// KindOf is the kind of err: what names nothing that is there is invalid, a take
// that could not be had is unmeasured. It is Unmeasured for what is not known.
func KindOf(err error) Kind {
	var known *Error
	var refused *procedure.RefusedTake
	var wrong *talk.WrongAnswer
	switch {
	case errors.As(err, &known):
		return known.Kind
	case errors.As(err, &refused), errors.Is(err, context.Canceled):
		return Unmeasured
	case errors.As(err, &wrong):
		return Invalid
	}
	for _, is := range []error{
		talk.ErrNoAnswer, procedure.ErrEarth, procedure.ErrNoMeter, db.ErrNotFound, db.ErrAmbiguous, db.ErrDuplicate, db.ErrInvalid, db.ErrNotWritable,
		db.ErrNotAStore, db.ErrNoStore, db.ErrFull, db.ErrBroken, db.ErrNewer, db.ErrChanged, db.ErrTakeDamaged,
	} {
		if errors.Is(err, is) {
			return Invalid
		}
	}
	return Unmeasured
}

func invalid(err error) error {
	var known *Error
	if err == nil || errors.As(err, &known) {
		return err
	}
	return &Error{Kind: Invalid, Err: err}
}

func invalidf(format string, args ...any) error { return invalid(fmt.Errorf(format, args...)) }

// fieldf is invalidf of a field of the request. The text goes on where the
// field's name ends.
func fieldf(field, format string, args ...any) error {
	return &Error{Kind: Invalid, Field: field, Err: fmt.Errorf(format, args...)}
}

// field says of which field of the request err is.
func field(name string, err error) error {
	return &Error{Kind: KindOf(err), Field: name, Err: fmt.Errorf(": %w", err)}
}

func unmeasured(err error) error {
	if err == nil {
		return nil
	}
	return &Error{Kind: Unmeasured, Err: err}
}

// joinNotes puts a note behind what somebody wrote.
func joinNotes(notes, note string) string {
	if notes == "" || note == "" {
		return notes + note
	}
	return notes + "; " + note
}

// local formats a time for people.
func local(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }
