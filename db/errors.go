package db

import (
	"errors"
	"fmt"
	"strings"
	"syscall"

	"github.com/mattn/go-sqlite3"
)

// The kinds of error that a caller may want to tell apart.
var (
	// ErrNotFound: nothing in the store has that name.
	ErrNotFound = errors.New("not in the store")
	// ErrAmbiguous: the beginning of a name fits several.
	ErrAmbiguous = errors.New("more than one begins so")
	// ErrDuplicate: the name is taken.
	ErrDuplicate = errors.New("already in the store")
	// ErrInvalid: what was to be kept is not complete or contradicts itself.
	ErrInvalid = errors.New("cannot be kept")
	// ErrNotWritable: the store or its folder cannot be written.
	ErrNotWritable = errors.New("the store cannot be written")
	// ErrFull: the disk has no room left.
	ErrFull = errors.New("the disk is full")
	// ErrBroken: the disk fails to read or to write.
	ErrBroken = errors.New("the disk fails")
	// ErrNoStore: there is no store where one was looked for.
	ErrNoStore = errors.New("there is no store")
	// ErrNotAStore: the file is something else.
	ErrNotAStore = errors.New("not a boardproof store")
	// ErrNewer: a later boardproof made the store.
	ErrNewer = errors.New("the store is from a newer boardproof")
	// ErrBusy: another program held the store for too long.
	ErrBusy = errors.New("another program is writing to the store")
	// ErrChanged: what is in the store is not what was kept.
	ErrChanged = errors.New("changed since it was kept")
	// ErrTakeDamaged: a take's file is missing or is not what was kept.
	ErrTakeDamaged = errors.New("the take is damaged")
)

// kindError is a message of one of the kinds above.
type kindError struct {
	kind error
	text string
}

func (e *kindError) Error() string { return e.text }
func (e *kindError) Unwrap() error { return e.kind }

func ofKind(kind error, format string, args ...any) error {
	return &kindError{kind, fmt.Sprintf(format, args...)}
}

// NotFoundError says what was looked for, and which names come near it.
type NotFoundError struct {
	What string // "board", "run", "profile", "plan", "bench"
	Name string
	Near []string
	// Board is set where a run was looked for by what is a board's label or serial;
	// Near is then its latest run.
	Board string
}

func (e *NotFoundError) Error() string {
	text := fmt.Sprintf("%s %q is not in the store", e.What, e.Name)
	if e.What == "board" {
		text = fmt.Sprintf("board %q is not registered", e.Name)
	}
	switch {
	case e.Board != "" && len(e.Near) == 0:
		return fmt.Sprintf("%q is board %s, which has no run yet: 'boardproof accept %q'", e.Name, e.Board, e.Board)
	case e.Board != "":
		return fmt.Sprintf("%q is board %s, not a run: its latest run is %s, and 'boardproof runs %q' lists all", e.Name, e.Board, e.Near[0], e.Board)
	case len(e.Near) > 0:
		text += ": did you mean " + strings.Join(quoted(e.Near), " or ")
	}
	return text
}

// Unwrap makes errors.Is(err, ErrNotFound) true.
func (e *NotFoundError) Unwrap() error { return ErrNotFound }

// AmbiguousError lists the names that the beginning of a name fits.
type AmbiguousError struct {
	What  string
	Name  string
	Names []string
}

func (e *AmbiguousError) Error() string {
	return fmt.Sprintf("%s %q could be %s: write more of it", e.What, e.Name, strings.Join(quoted(e.Names), " or "))
}

// Unwrap makes errors.Is(err, ErrAmbiguous) true.
func (e *AmbiguousError) Unwrap() error { return ErrAmbiguous }

func quoted(names []string) []string {
	var q []string
	for _, n := range names {
		q = append(q, fmt.Sprintf("%q", n))
	}
	return q
}

// fileFault says a fault of a file in the user's terms; format is for one that
// may not be written, and takes the cause.
func fileFault(err error, format string) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ofKind(ErrFull, "the disk is full (%v): make room on it, nothing that was kept is lost", err)
	case errors.Is(err, syscall.EIO):
		return ofKind(ErrBroken, "the disk fails to read or write (%v): look at it and its cable, and copy the store to another", err)
	}
	return ofKind(ErrNotWritable, format, err)
}

// storeFault says a fault of the database file in the user's terms; other
// errors come back as they are.
func storeFault(path string, err error) error {
	fault, ok := errors.AsType[sqlite3.Error](err)
	if !ok {
		return err
	}
	switch fault.Code {
	case sqlite3.ErrNotADB:
		return ofKind(ErrNotAStore, "%s is not a boardproof store: name another file", path)
	case sqlite3.ErrCorrupt:
		return ofKind(ErrNotAStore, "the store %s is damaged (%v): put back a copy", path, err)
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return ofKind(ErrBusy, "the store %s is held by another program: close that or try again", path)
	case sqlite3.ErrFull:
		return ofKind(ErrFull, "the disk of the store %s is full: make room on it, nothing that was kept is lost", path)
	case sqlite3.ErrIoErr:
		return ioFault(path, fault)
	case sqlite3.ErrReadonly, sqlite3.ErrCantOpen, sqlite3.ErrPerm, sqlite3.ErrAuth:
		return ofKind(ErrNotWritable, "the store %s cannot be written (%v): make it and its folder writable, or name another", path, err)
	}
	return err
}

// ioFault tells a full disk from one that fails: SQLite calls both the same
// where it writes its log's index.
func ioFault(path string, fault sqlite3.Error) error {
	switch fault.SystemErrno {
	case syscall.ENOSPC, syscall.EDQUOT:
		return ofKind(ErrFull, "the disk of the store %s is full: make room on it, nothing that was kept is lost", path)
	case syscall.EROFS, syscall.EACCES, syscall.EPERM:
		return ofKind(ErrNotWritable, "the store %s cannot be written (%v): make it and its folder writable, or name another", path, fault)
	}
	return ofKind(ErrBroken, "the disk of the store %s fails to read or write (%v): look at it and its cable, and copy the store to another", path, fault)
}

func isBusy(err error) bool {
	fault, ok := errors.AsType[sqlite3.Error](err)
	return ok && (fault.Code == sqlite3.ErrBusy || fault.Code == sqlite3.ErrLocked)
}

// isKind says whether trying again cannot help with err.
func isKind(err error) bool {
	if _, ok := errors.AsType[*kindError](err); ok {
		return true
	}
	fault, ok := errors.AsType[sqlite3.Error](err)
	return ok && (fault.Code == sqlite3.ErrReadonly || fault.Code == sqlite3.ErrCantOpen ||
		fault.Code == sqlite3.ErrNotADB || fault.Code == sqlite3.ErrPerm || fault.Code == sqlite3.ErrFull || fault.Code == sqlite3.ErrIoErr)
}
