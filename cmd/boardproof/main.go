// Command boardproof proves a finished pedalboard at the bench: it plays
// sweeps, impulses and tones through it, reads response, noise, hum,
// distortion and the match of its outputs, judges them against the board's
// plan and keeps every reading.
//
// Each command is one file here. What is done at the bench, in which order,
// is in internal/procedure; how results look is in internal/report.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

func main() {
	// Samples are few and large: collecting early costs little time
	// and keeps a bench laptop's memory free.
	debug.SetGCPercent(10)
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
