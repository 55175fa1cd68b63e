package main

import (
	"context"
	"errors"
	"fmt"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/workshop"
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

// limitFailed is the outcome of a board that did not pass: it has been
// printed, it is no error to complain of.
type limitFailed struct{ code int }

func (l *limitFailed) Error() string { return "a limit failed" }

func exitCode(ctx context.Context, err error) int {
	var c *coded
	var l *limitFailed
	var known *workshop.Error
	switch {
	case errors.As(err, &l):
		return l.code
	case errors.As(err, &c):
		return c.code
	case (ctx.Err() == nil || errors.As(err, &known)) && workshop.KindOf(err) == workshop.Invalid:
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
