//go:build unix

package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"boardproof/capture/soundcard/jacktest"
)

// hangs is how long a program may take that is only waited for lest it never
// ends: a busy machine needs minutes for what takes seconds.
const hangs = 10 * time.Minute

// interrupted starts the program, sends Ctrl-C once it has said when and under
// way, where there is one, is true, and returns its exit code and all that it
// said.
func interrupted(t *testing.T, when string, underWay func() bool, args ...string) (code int, out, said string) {
	t.Helper()
	// testscript put the program there under its own name.
	cmd := exec.Command("boardproof", args...)
	var stdout strings.Builder
	cmd.Stdout = &stdout
	pipe, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	// Held open, so that a prompt waits.
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer stdin.Close()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	limit := time.AfterFunc(hangs, func() { cmd.Process.Kill() })
	defer limit.Stop()
	heard, r := "", bufio.NewReader(pipe)
	for !strings.Contains(heard, when) {
		b, err := r.ReadByte()
		if err != nil {
			t.Fatalf("it never said %q, but:\n%s", when, heard)
		}
		heard += string(b)
	}
	for underWay != nil && !underWay() {
		time.Sleep(10 * time.Millisecond)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatalf("it had ended before Ctrl-C: %v", err)
	}
	rest, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	cmd.Wait() //nolint:errcheck // the exit code says it
	if ws, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && ws.Signaled() {
		t.Errorf("it was ended by signal %v", ws.Signal())
	}
	return cmd.ProcessState.ExitCode(), stdout.String(), heard + string(rest)
}

const stopped = "\nerror: stopped; the output is silent and nothing of this was kept\n"

func checkStopped(t *testing.T, code int, out, said string) {
	t.Helper()
	if code != exitUnmeasured || out != "" || !strings.HasSuffix(said, stopped) || strings.Count(said, "error:") != 1 {
		t.Errorf("Ctrl-C gives exit %d, output %q, and:\n%s", code, out, said)
	}
}

func TestCtrlCOnASimulatedBench(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates at 192 kHz")
	}
	s := newSession(t)
	s.must(exitPassed, "bench", "set", "sim", "--simulated", "--rate", "192000")
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false")
	s.must(exitPassed, "board", "add", "Tin Heron")
	for _, c := range []struct {
		when string
		args []string
	}{
		{"impulses, ", []string{"--yes"}},
		{"press Enter when ready", nil},
	} {
		code, out, said := interrupted(t, c.when, nil, append([]string{"accept", "tin", "--store", s.store}, c.args...)...)
		checkStopped(t, code, out, said)
	}
	s.must(exitPassed, "runs", "tin")
	if s.out != "no runs yet\n" {
		t.Errorf("after Ctrl-C the store has runs:\n%s", s.out)
	}
	// What was whole by then is kept with the sitting, and goes when it is given up.
	// What was whole by then is kept with the sitting, and goes when it is given up.
	if left, err := s.open(t).OpenSittings(t.Context()); err != nil || len(left) == 0 {
		t.Errorf("after Ctrl-C %d sittings are open, %v", len(left), err)
	}
	if _, err := os.Stat(s.store + ".plots"); err == nil {
		t.Error("after Ctrl-C there are plots")
	}
}

// While a tone plays: the program ends by itself, and takes its ports with it.
func TestCtrlCOverJACK(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	jacktest.Start(t)
	s := newSession(t)
	s.must(exitPassed, "bench", "set", "jack", "--device", jacktest.Loopback)
	before := ports(t)
	playing := func() bool { return ports(t) != before }
	code, out, said := interrupted(t, "  tone, ", playing, "measure", "tone", "--yes", "--store", s.store)
	checkStopped(t, code, out, said)
	if after := ports(t); after != before {
		t.Errorf("ports before:\n%s\nand after:\n%s", before, after)
	}
	if names, _ := filepath.Glob(s.store + ".takes/*"); len(names) > 0 {
		t.Errorf("takes were kept: %v", names)
	}
}

// ports lists the JACK ports and what each is connected to.
func ports(t *testing.T) string {
	t.Helper()
	list, err := exec.Command("jack_lsp", "-c").Output()
	if err != nil {
		t.Fatalf("listing the JACK ports: %v", err)
	}
	return string(list)
}

// A second Ctrl-C ends a program that does not heed the first.
func TestSecondCtrlCEndsAtOnce(t *testing.T) {
	if os.Getenv("BOARDPROOF_TEST_DEAF") != "" {
		ctx, _ := stoppable()
		os.Stdout.WriteString("runs\n")
		<-ctx.Done()
		os.Stdout.WriteString("heard\n")
		time.Sleep(2 * hangs)
		return
	}
	if signal.Ignored(os.Interrupt) {
		t.Skip("a shell that runs tests in the background lets its programs ignore Ctrl-C")
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestSecondCtrlCEndsAtOnce$")
	cmd.Env = append(os.Environ(), "BOARDPROOF_TEST_DEAF=yes")
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	limit := time.AfterFunc(hangs, func() { cmd.Process.Kill() })
	defer limit.Stop()
	out := bufio.NewReader(pipe)
	for _, want := range []string{"runs\n", "heard\n"} {
		if line, err := out.ReadString('\n'); err != nil || line != want {
			t.Fatalf("%q, %v", line, err)
		}
		cmd.Process.Signal(os.Interrupt)
	}
	// The first is only let go of a moment after it was heard.
	go func() {
		for cmd.Process.Signal(os.Interrupt) == nil {
			time.Sleep(50 * time.Millisecond)
		}
	}()
	cmd.Wait() //nolint:errcheck // its state says it
	if ws := cmd.ProcessState.Sys().(syscall.WaitStatus); !ws.Signaled() || ws.Signal() != syscall.SIGINT {
		t.Errorf("it ended with %v", cmd.ProcessState)
	}
}
