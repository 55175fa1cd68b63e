//go:build unix

package main

import (
	"os"
	"strings"
	"testing"
)

// A hunt that Ctrl-C ends keeps the silences that are whole, and nothing of
// the one that was being recorded.
func TestCtrlCOnAHunt(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a program")
	}
	s := newSession(t)
	s.must(exitPassed, "bench", "set", "sim", "--simulated", "--rate", "192000")
	s.must(exitPassed, "board", "add", "Tin Heron")
	hunt := []string{"hum", "hunt", "tin", "--store", s.store, "--no-check", "--yes", "--seconds", "10",
		"--condition", "lights off", "--condition", "board turned"}
	code, _, said := interrupted(t, "silence, board turned a quarter, ", nil, hunt...)
	if code != exitUnmeasured || strings.Count(said, "error:") != 1 ||
		!strings.Contains(said, "\nerror: stopped; the output is silent; the hunt is not finished: kept as unfinished, with its silences so far (2): 'boardproof hum show h") {
		t.Errorf("Ctrl-C in the third silence: exit %d and:\n%s", code, said)
	}
	if s.must(exitPassed, "hum", "show"); !strings.Contains(s.out, "UNFINISHED") || !strings.Contains(s.out, "2. lights off") || strings.Contains(s.out, "\n3. ") {
		t.Errorf("what was kept is:\n%s", s.out)
	}
	takes, err := os.ReadDir(s.store + ".takes")
	if err != nil || len(takes) != 2 {
		t.Errorf("takes kept: %v, %v", takes, err)
	}
}
