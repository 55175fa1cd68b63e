// Command boardproof proves a finished pedalboard at the bench: it plays
// sweeps, impulses and tones through it, reads response, noise, hum,
// distortion and the match of its outputs, judges them against the board's
// plan and keeps every reading.
//
// Each command is one file here: it reads flags into a request and shows the
// result. What is done, and what is decided on the way, is in internal/workshop;
// the order of things at the bench in internal/procedure; how a person is asked
// and told in internal/talk and internal/terminal; how results look in
// internal/report.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// When the garbage collector runs: at collectAtPercent more than what is live,
// as samples are few and large, and a bench laptop's memory is small.
const collectAtPercent = 5

// collectFloor counts as live, so that it is not collected all the time while a
// few megabytes are: half a core went there while hum was watched. It is never
// touched, and so takes no memory.
var collectFloor []byte

// collectEarly sets the collector so; undo is for tests.
func collectEarly() (undo func()) {
	if collectFloor == nil {
		collectFloor = make([]byte, 128<<20)
	}
	was := debug.SetGCPercent(collectAtPercent)
	return func() { debug.SetGCPercent(was) }
}

func main() {
	collectEarly()
	ctx, stop := stoppable()
	defer stop()
	code := newApp(os.Stdin, os.Stdout, os.Stderr).run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// stoppable is a context that the first Ctrl-C ends. The next one ends the
// program, whatever it is at: what is kept is written so that this loses
// nothing.
func stoppable() (context.Context, context.CancelFunc) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	return ctx, stop
}
