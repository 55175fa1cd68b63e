package main

import (
	"context"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts run the same program as main does.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"boardproof": func() {
			os.Exit(newApp(os.Stdin, os.Stdout, os.Stderr).run(context.Background(), os.Args[1:]))
		},
	})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_DATA_HOME", e.Getenv("WORK")+"/data")
			e.Setenv("NO_COLOR", "1")
			return nil
		},
	})
}
