package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts run the same program as main does.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"boardproof": main,
	})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:  "testdata/script",
		Cmds: scriptCommands,
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_DATA_HOME", e.Getenv("WORK")+"/data")
			e.Setenv("NO_COLOR", "1")
			return nil
		},
	})
}
