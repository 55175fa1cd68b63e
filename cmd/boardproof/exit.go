package main

import (
	"context"
	"errors"
	"fmt"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// The exit codes, part of the contract.
const (
	exitPassed     = 0
	exitFailed     = 1
	exitWrongUse   = 2
	exitUnmeasured = 3
)

// coded is an error that carries its exit code.
type coded struct {
	code int
	err  error
}

func (c *coded) Error() string { return c.err.Error() }
func (c *coded) Unwrap() error { return c.err }

func wrongUse(err error) error {
	if err == nil {
		return nil
	}
	return &coded{exitWrongUse, err}
}

func wrongUsef(format string, args ...any) error { return wrongUse(fmt.Errorf(format, args...)) }

func unmeasured(err error) error {
	if err == nil {
		return nil
	}
	return &coded{exitUnmeasured, err}
}

// limitFailed is the outcome of a board that did not pass: it has been
// printed, it is no error to complain of.
type limitFailed struct{ code int }

func (l *limitFailed) Error() string { return "a limit failed" }

func exitCode(ctx context.Context, err error) int {
	var c *coded
	var l *limitFailed
	var refused *procedure.RefusedTake
	var wrong *talk.WrongAnswer
	switch {
	case errors.As(err, &l):
		return l.code
	case errors.As(err, &c):
		return c.code
	case errors.As(err, &refused), ctx.Err() != nil:
		return exitUnmeasured
	case errors.Is(err, db.ErrNotFound), errors.Is(err, db.ErrAmbiguous), errors.Is(err, db.ErrDuplicate),
		errors.Is(err, db.ErrInvalid), errors.Is(err, db.ErrNotWritable), errors.Is(err, db.ErrNotAStore), errors.Is(err, db.ErrNoStore),
		errors.Is(err, db.ErrFull), errors.Is(err, db.ErrBroken), errors.Is(err, db.ErrNewer),
		errors.Is(err, db.ErrChanged), errors.Is(err, procedure.ErrEarth), errors.As(err, &wrong),
		errors.Is(err, talk.ErrNoAnswer), errors.Is(err, procedure.ErrNoMeter), errors.Is(err, db.ErrTakeDamaged):
		return exitWrongUse
	}
	return exitUnmeasured
}

// outcome turns what was judged into the command's ending: nil when all that
// was judged passed, exit 1 when a limit failed, exit 3 when a limit could
// not be judged at all.
func outcome(rows []verdict.Judged) error {
	switch verdict.Overall(rows) {
	case verdict.Fail, verdict.ConditionalFail:
		return &limitFailed{exitFailed}
	case verdict.NotMeasured:
		return &limitFailed{exitUnmeasured}
	}
	return nil
}
