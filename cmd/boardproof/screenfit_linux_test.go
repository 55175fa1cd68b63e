package main

import (
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"boardproof/capture/simboard"
)

// A table is no wider than the terminal, whatever that is.
func TestTablesFitTheTerminal(t *testing.T) {
	if testing.Short() {
		t.Skip("hunts and accepts")
	}
	s := simulatedStore(t)
	s.must(exitPassed, "board", "add", "A board with a rather long name", "--owner", "the Harbour Lights trio", "--device", "moss fuzz with a long name,fuzz,9,4,2.1 mm centre negative")
	s.bench = func(c *simboard.Config) { c.Board.Outputs[1].Transformer.Reversed = true }
	s.must(exitPassed, "accept", "tin", "--yes", "--no-check")
	for _, columns := range []int{60, 80, 200} {
		for _, args := range [][]string{{"show", "r"}, {"show", "r", "--budget"}, {"runs", "tin"}, {"board", "list"}, {"board", "show", "a board"},
			{"board", "show", "tin"}, {"board", "life", "tin"}} {
			at := s.atTerminal(columns, args...)
			shown, code := at.end()
			for _, line := range strings.Split(strings.ReplaceAll(shown, "\r", ""), "\n") {
				line = regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(line, "")
				if n := utf8.RuneCountInString(line); n > columns && !strings.HasPrefix(line, "plot: ") && !strings.Contains(line, s.store) {
					t.Errorf("%v at %d columns ended with %d and has a line of %d: %s", args, columns, code, n, line)
				}
			}
		}
	}
}

// q at what a chosen condition asks for goes back to the list, and there it stops.
func TestHuntGoesBackToTheList(t *testing.T) {
	if testing.Short() {
		t.Skip("hunts at a terminal")
	}
	s := simulatedStore(t)
	at := s.atTerminal(100, "hum", "hunt", "tin", "--no-check", "--seconds", "2")
	at.until(readyPrompt)
	at.keys("\n")
	at.until("what next?")
	at.until("\r\n  > ")
	at.keys("lights off\n")
	at.until("q and Enter to go back to the list: ")
	at.keys("q\n")
	at.until("what next?")
	at.until("\r\n  > ")
	at.keys("my own lamp moved\n")
	if shown := at.until("q and Enter to go back to the list: "); !strings.Contains(shown, "you: my own lamp moved") || strings.Contains(shown, "put back") {
		t.Errorf("of one's own words, with nothing to put back, it says\n%s", shown)
	}
	at.keys("q\n")
	at.until("\r\n  > ")
	at.keys("lift the earth\n")
	if shown := at.until("\r\n  > "); !strings.Contains(plain(shown), "that can mean the protective earth, which is never lifted") {
		t.Errorf("of lifting the earth it says\n%s", shown)
	}
	at.keys("q\n")
	if shown, code := at.end(); code != exitUnmeasured || !strings.Contains(shown, "stopped") {
		t.Errorf("it ended with %d and\n%s", code, shown)
	}
}

// The verdict is the last thing that an acceptance says, with what is wrong in
// plain words.
func TestVerdictComesLast(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s := simulatedStore(t)
	s.plan(`[[step]]
name = "path"
state = "all bypassed"
patch = "board"
signals = ["sweep"]
level_dbu = -10.0
limit = [{ quantity = "polarity_match", min = 1.0, max = 1.0 }]
`)
	s.bench = func(c *simboard.Config) { c.Board.Outputs[1].Transformer.Reversed = true }
	s.must(exitFailed, "accept", "tin", "--yes", "--no-check")
	_, last, found := strings.Cut(s.out, "\nFAIL: 1 of 1 limit: polarity match B against A\n")
	if !found || !strings.HasPrefix(strings.TrimSpace(last), "B against A: one pulls while the other pushes") || strings.Contains(last, "plot:") {
		t.Errorf("it ends with\n%s", s.out)
	}
}
