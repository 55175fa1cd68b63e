// Command trial runs what judges the program by statistics, or times it: 'trial
// NAME', as the Makefile's targets do. Each is a package of its own in internal;
// what they share is in internal/trials.
package main

import (
	"os"

	"boardproof/cmd/trial/internal/bench"
	"boardproof/cmd/trial/internal/bigstore"
	"boardproof/cmd/trial/internal/coverage"
	"boardproof/cmd/trial/internal/crb"
	"boardproof/cmd/trial/internal/hunts"
	"boardproof/cmd/trial/internal/retest"
	"boardproof/cmd/trial/internal/trials"
)

func main() {
	os.Exit(trials.Main([]trials.Program{
		bench.Program(), bigstore.Program(), coverage.Program(), crb.Program(), hunts.Program(), retest.Program(),
	}, os.Args[1:], os.Stdout, os.Stderr))
}
