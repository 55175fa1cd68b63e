package main

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"boardproof/db"
)

func TestNoCellStartsAFormula(t *testing.T) {
	var out bytes.Buffer
	cells := []string{"=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "＝1", "-12.5", "+3", "−3 dB", "plain", "", "1e-7", "a\x1bb"}
	if err := writeCSV(&out, [][]string{append([]string(nil), cells...)}); err != nil {
		t.Fatal(err)
	}
	got, err := csv.NewReader(&out).Read()
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"'=1+1", "'+cmd|' /C calc'!A0", "'-2+3", "'@SUM(A1)", "'\t=1", "'＝1", "-12.5", "+3", "−3 dB", "plain", "", "1e-7", `a\u001bb`}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q is written as %q, want %q", cells[i], got[i], want[i])
		}
	}
}

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
