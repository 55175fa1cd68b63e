package main

import (
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// screen is the program at a terminal of its own, by way of a pseudo-terminal.
type screen struct {
	t       *testing.T
	cmd     *exec.Cmd
	master  *os.File
	seen    string
	arrived chan string
}

// atTerminal starts the program at a terminal of so many columns.
func atTerminal(t *testing.T, columns int, args ...string) *screen {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	// ptmx(4): unlock the other end and find its number.
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 50, Col: uint16(columns)}); err != nil {
		t.Fatal(err)
	}
	s := &screen{t: t, master: master, cmd: exec.Command("boardproof", args...), arrived: make(chan string, 100)}
	s.cmd.Stdin, s.cmd.Stdout, s.cmd.Stderr = slave, slave, slave
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	slave.Close()
	go func() {
		defer close(s.arrived)
		for buf := make([]byte, 4096); ; {
			n, err := master.Read(buf)
			if err != nil {
				return
			}
			s.arrived <- string(buf[:n])
		}
	}()
	t.Cleanup(func() { s.cmd.Process.Kill(); s.cmd.Wait(); master.Close() }) //nolint:errcheck // it may be over
	return s
}

// until reads what is shown up to text, and returns it; it is not shown again.
func (s *screen) until(text string) string {
	s.t.Helper()
	limit := time.After(hangs)
	for {
		if i := strings.Index(s.seen, text); i >= 0 {
			shown := s.seen[:i+len(text)]
			s.seen = s.seen[i+len(text):]
			return shown
		}
		select {
		case more, open := <-s.arrived:
			if !open {
				s.t.Fatalf("it never showed %q, but:\n%s", text, s.seen)
			}
			s.seen += more
		case <-limit:
			s.t.Fatalf("it does not show %q, but:\n%s", text, s.seen)
		}
	}
}

func (s *screen) keys(text string) {
	s.t.Helper()
	if _, err := s.master.WriteString(text); err != nil {
		s.t.Fatal(err)
	}
}

// end returns what is shown to the end, and the exit code.
func (s *screen) end() (string, int) {
	for more := range s.arrived {
		s.seen += more
	}
	s.cmd.Wait() //nolint:errcheck // the exit code says it
	return s.seen, s.cmd.ProcessState.ExitCode()
}

const readyPrompt = "press Enter when ready, q and Enter to stop: "

// simulatedStore has a calibrated simulated bench and a board with a plan of two
// tones.
func simulatedStore(t *testing.T) *session {
	t.Helper()
	s := newSession(t)
	s.now = time.Now() // the program at the terminal goes by the clock
	s.must(exitPassed, "bench", "set", "sim", "--simulated")
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false")
	s.must(exitPassed, "board", "add", "Tin Heron")
	plan := t.TempDir() + "/plan.toml"
	const step = "[[step]]\nname = %q\nstate = \"all bypassed\"\npatch = \"board\"\nsignals = [\"tone\"]\nlevel_dbu = -10.0\nprompt = \"plug it in\"\n" +
		"limit = [{ quantity = \"thd\", max = 0.1 }]\n"
	text := "format = \"boardproof-plan/1\"\nname = \"short\"\nrule = \"guarded\"\n" + fmt.Sprintf(step, "one") + fmt.Sprintf(step, "two")
	if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s.must(exitPassed, "plan", "edit", "tin", "--from", plan)
	return s
}

// Keys that were struck before a question was shown answer nothing, and other
// keys than those asked for are no Enter.
func TestNothingTypedAheadAnswers(t *testing.T) {
	s := simulatedStore(t)
	at := atTerminal(t, 80, "accept", "tin", "--store", s.store)
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
	if code != exitUnmeasured || !regexp.MustCompile(`error: step 2 of 2: two: stopped at the prompt`).MatchString(shown) {
		t.Errorf("it ended with %d and\n%s", code, shown)
	}
}
