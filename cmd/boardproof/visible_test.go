package main

import (
	"strings"
	"testing"

	"boardproof/db"
)

// What was typed is refused before anything is kept, whichever flag or argument
// it is in.
func TestUnseenTextsAreRefused(t *testing.T) {
	s := newSession(t)
	s.must(exitPassed, "board", "add", "Night Train")
	long := strings.Repeat("a", db.MaxNotes+1)
	for _, bad := range []string{"\x1b[2J", "a\u202eb", "a\xffb", long, "a\u2028b", "a\u0000b"} {
		for _, args := range [][]string{
			{"board", "add", bad}, {"board", "add", "Tin Heron", "--owner", bad}, {"board", "add", "Tin Heron", "--notes", bad},
			{"bench", "set", bad, "--simulated"}, {"bench", "set", "sim", "--simulated", "--inputs", bad + "=1"},
		} {
			s.must(exitWrongUse, args...)
			if strings.ContainsAny(s.err, "\x1b\u202e\u2028") || len(s.err) > 1000 || !strings.HasPrefix(s.err, "error: ") {
				t.Errorf("%.40q: it says %q", args, s.err)
			}
		}
	}
	s.must(exitPassed, "board", "list")
	if strings.Contains(s.out, "Tin Heron") {
		t.Errorf("a board was kept:\n%s", s.out)
	}
	for _, bad := range []string{"x\ty", "x\ny"} {
		s.must(exitWrongUse, "board", "add", "Tin Heron", "--owner", bad)
	}
	s.must(exitPassed, "board", "add", "Zoë's 👩‍🔧 שלום", "--notes", "two\nlines", "--owner", "Łódź")
}
