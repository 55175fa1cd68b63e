package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"boardproof/capture"
	"boardproof/capture/simboard"
)

const readyPrompt = "press Enter when ready, q and Enter to stop: "

// simulatedStore has a calibrated simulated bench and a board with a plan of two
// tones.
func simulatedStore(t *testing.T) *session {
	t.Helper()
	s := newSession(t)
	raw, err := calibratedOnce()
	if err == nil {
		err = os.WriteFile(s.store, raw, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// calibratedOnce makes that store: calibrating takes a second.
var calibratedOnce = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "boardproof-test-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	const step = "[[step]]\nname = %q\nstate = \"all bypassed\"\npatch = \"board\"\nsignals = [\"tone\"]\nlevel_dbu = -10.0\nprompt = \"plug it in\"\n" +
		"limit = [{ quantity = \"thd\", max = 0.1 }]\n"
	text := "format = \"boardproof-plan/1\"\nname = \"short\"\nrule = \"guarded\"\n" + fmt.Sprintf(step, "one") + fmt.Sprintf(step, "two")
	plan := filepath.Join(dir, "plan.toml")
	if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
		return nil, err
	}
	s := &session{now: sessionStart, store: filepath.Join(dir, "s.db")}
	for _, args := range [][]string{{"bench", "set", "sim", "--simulated"}, {"calibrate", "--yes", "--linearity=false"},
		{"board", "add", "Tin Heron"}, {"plan", "edit", "tin", "--from", plan}} {
		if code := s.run("", args...); code != exitPassed {
			return nil, fmt.Errorf("%v ended with %d: %s", args, code, s.err)
		}
	}
	return os.ReadFile(s.store)
})

// Keys that were struck before a question was shown answer nothing, and other
// keys than those asked for are no Enter.
func TestNothingTypedAheadAnswers(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates and accepts at a terminal")
	}
	s := simulatedStore(t)
	at := s.atTerminal(80, "accept", "tin")
	at.until(readyPrompt)
	at.keys("\n\n\n\n") // one is meant, three are too many
	at.until("step 1 of 2")
	at.until(readyPrompt)
	for _, wrong := range []string{"no", "n", "x", "y"} {
		at.keys(wrong + "\n")
		if shown := at.until(readyPrompt); !strings.Contains(shown, fmt.Sprintf("%q is no answer here: Enter alone, or q and Enter to stop", wrong)) {
			t.Fatalf("after %q it shows\n%s", wrong, shown)
		}
	}
	at.keys("\n")
	at.until("step 2 of 2")
	at.until(readyPrompt)
	at.keys("q\n")
	shown, code := at.end()
	if code != exitUnmeasured || !strings.Contains(shown, "error: stopped; the output is silent") {
		t.Errorf("it ended with %d and\n%s", code, shown)
	}
}

// leadFor is a bench on which, for so many takes, the loopback lead is where
// patch was asked for.
func leadFor(takes int, patch capture.Patch) func(*simboard.Config) {
	return func(c *simboard.Config) {
		c.Slip = func(asked capture.Patch) capture.Patch {
			if asked == patch && takes > 0 {
				takes--
				return capture.Loopback
			}
			return asked
		}
	}
}

const always = 1 << 30

// The loopback lead left in place of the board is no board: what it gives is
// asked about at once.
func TestLeadLeftInIsAskedAbout(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates and accepts")
	}
	s := simulatedStore(t)
	s.bench = leadFor(2, capture.ToBoard) // the level check and the sweep that tells
	at := s.atTerminal(80, "accept", "tin")
	for range 2 {
		at.until(readyPrompt)
		at.keys("\n")
	}
	at.until("what comes back is the loopback lead")
	shown := at.until("\r\n  > ")
	if !strings.Contains(shown, "Is the board really in?") || !strings.Contains(shown, "Enter  measure again") || strings.Contains(shown, "tone, 3") {
		t.Errorf("it asks\n%s", shown)
	}
	at.keys("no\n")
	at.until(`"no" is no answer here`)
	at.until("> ")
	at.keys("\n")
	at.until("step 2 of 2")
	at.until(readyPrompt)
	at.keys("\n")
	shown, code := at.end()
	if code != exitPassed || strings.Contains(shown, "loopback lead (") {
		t.Errorf("with the board in it ended with %d and\n%s", code, shown)
	}
	s.must(exitPassed, "show", "r20260301-0001")
	if !strings.Contains(s.out, "gain, output A at 1000 Hz            −0.30") {
		t.Errorf("what was kept is not the board, whose gain is -0.3 dB:\n%s", s.out)
	}
}

// A wire is a board too, if somebody says so.
func TestBoardLikeALeadCanBeMeasured(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts several boards")
	}
	s := simulatedStore(t)
	s.bench = leadFor(always, capture.ToBoard)
	for _, args := range [][]string{{"accept", "tin"}, {"measure", "silence"}, {"hum", "hunt", "tin", "--seconds", "2"}} {
		code := s.run("", append(args, "--yes", "--no-check")...)
		if last := lastLine(s.err); code != exitUnmeasured || !strings.Contains(last, "what comes back is the loopback lead, not a board: the bench's own gain within 0.0") ||
			!strings.HasSuffix(last, "say --board-in") {
			t.Errorf("%v with the lead in ended with %d and %s", args, code, s.err)
		}
	}
	s.must(exitPassed, "runs", "tin")
	if strings.Contains(s.out, "r2026") {
		t.Errorf("something was kept:\n%s", s.out)
	}
	s.must(exitPassed, "accept", "tin", "--yes", "--board-in")
	s.must(exitPassed, "show", "r20260301-0001", "--json")
	if !strings.Contains(s.out, "a board was in, as the operator says") {
		t.Errorf("the run does not say why a lead was taken for a board:\n%s", s.out)
	}
	at := s.atTerminal(80, "accept", "tin", "--no-check")
	at.until(readyPrompt)
	at.keys("\n")
	at.until("> ")
	at.keys("w\n")
	at.until("step 2 of 2")
	at.until(readyPrompt)
	at.keys("\n")
	if shown, code := at.end(); code != exitPassed {
		t.Errorf("on the operator's word it ended with %d and\n%s", code, shown)
	}
}

// What is 0.05 dB off the lead, or bends at 20 kHz, is a board.
func TestNearlyAWireIsABoard(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates and accepts")
	}
	for name, change := range map[string]func(*simboard.Config){
		"0.05 dB": func(c *simboard.Config) { c.Board.Buffer.Gain = 0.994 },
		"dull":    func(c *simboard.Config) { c.Board.CableFarads = 120e-12 + 400e-12 },
	} {
		s := simulatedStore(t)
		s.bench = func(c *simboard.Config) {
			// A wire but for what is changed: no source resistance, no transformer, nothing in series.
			c.Board.Source.Ohms, c.Board.Devices, c.Board.Buffer.Gain, c.Board.Buffer.OutputOhms = 0.01, nil, 1, 0.01
			for i := range c.Board.Outputs {
				c.Board.Outputs[i].SeriesOhms, c.Board.Outputs[i].TerminationOhms, c.Board.Outputs[i].Transformer = 0.01, 0, nil
			}
			if name == "dull" {
				c.Board.Source.Ohms = 10e3
			}
			change(c)
		}
		s.must(exitPassed, "accept", "tin", "--yes")
	}
}

// Inputs in which the loopback lead is left are not terminated.
func TestCalibrationWantsTheLeadOut(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates several times")
	}
	s := newSession(t)
	s.must(exitPassed, "bench", "set", "sim", "--simulated")
	s.bench = leadFor(1, capture.Terminated)
	at := s.atTerminal(80, "calibrate", "--linearity=false")
	for range 2 {
		at.until(readyPrompt)
		at.keys("\n")
	}
	shown := at.until("\r\n  > ")
	for _, input := range []string{"input 1 still carries what the output plays", "input 2 still"} {
		if !strings.Contains(strings.Join(strings.Fields(shown), " "), input) {
			t.Errorf("it does not say %q but\n%s", input, shown)
		}
	}
	at.keys("\n")
	if shown, code := at.end(); code != exitPassed {
		t.Errorf("with the lead out it ended with %d and\n%s", code, shown)
	}
	s.bench = leadFor(always, capture.Terminated)
	if code := s.run("", "calibrate", "--yes", "--linearity=false"); code != exitUnmeasured || !strings.Contains(lastLine(s.err), "error: the inputs are not terminated: input 1 still carries") {
		t.Errorf("--yes with the lead in ended with %d and %s", code, s.err)
	}
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false", "--lead-stays")
}

// deadFor is a bench on which for so many takes nothing comes back from the board.
func deadFor(takes int) func(*simboard.Config) {
	return func(c *simboard.Config) {
		c.Slip = func(asked capture.Patch) capture.Patch {
			if takes--; asked == capture.ToBoard && takes >= 0 {
				return capture.Terminated
			}
			return asked
		}
	}
}

// plain is text without the breaks of its lines.
func plain(text string) string { return strings.Join(strings.Fields(text), " ") }

// What is wrong with a board is said at the first take that shows it, and asked
// about before anything else is taken.
func TestWrongBoardIsSaidAtOnce(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts several boards")
	}
	s := simulatedStore(t)
	s.bench = deadFor(3) // a take is tried three times
	at := s.atTerminal(100, "accept", "tin", "--no-check")
	at.until(readyPrompt)
	at.keys("\n")
	shown := at.until("\r\n  > ")
	for _, want := range []string{"nothing comes back at inputs 1 and 2: the board has no power or is dead, a lead is out",
		"Enter take it again, once that is put right g go on as it is"} {
		if !strings.Contains(plain(shown), want) {
			t.Errorf("of a dead board it does not say %q but\n%s", want, shown)
		}
	}
	at.keys("\n")
	at.until("step 2 of 2")
	at.until(readyPrompt)
	at.keys("\n")
	if shown, code := at.end(); code != exitPassed {
		t.Errorf("with power it ended with %d and\n%s", code, shown)
	}
	for want, wrong := range map[string]func(*simboard.Config){
		"output B (input 2): no signal: timing marks not found, peak -": func(c *simboard.Config) {
			c.Board.Joints = []simboard.Joint{{Output: "B", AtS: []float64{0}, DurationS: 60}}
		},
		"output A passes 1 kHz with -0.7 dB, and 12 dB quieter with +6.3 dB; output B passes": func(c *simboard.Config) { c.Board.Devices[2].AlwaysOn = true },
		"while a steady tone plays; output B moves by":                                        func(c *simboard.Config) { c.Board.Devices[3].AlwaysOn = true },
	} {
		s.bench = wrong
		s.run("", "accept", "tin", "--yes", "--no-check")
		said, _, _ := strings.Cut(s.err, "step 2 of 2")
		if said = plain(said); strings.Count(said, "this looks wrong: output") != 1 || !strings.Contains(said, want) {
			t.Errorf("it does not say %q before the next step, but\n%s", want, said)
		}
	}
}
