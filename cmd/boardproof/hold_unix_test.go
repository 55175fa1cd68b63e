//go:build unix

package main

import (
	"bufio"
	"fmt"
	"os/exec"
	"strings"
	"testing"
)

// The second program on one bench is told who has it before anything is asked or
// played; when the first is killed the bench is free.
func TestOneHolderOfABench(t *testing.T) {
	store := t.TempDir() + "/s.db"
	if out, err := exec.Command("boardproof", "--store", store, "bench", "set", "sim", "--simulated").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	begin := func() (*exec.Cmd, string) { return untilAsked(t, store, "calibrate") }
	first, said := begin()
	if !strings.Contains(said, "press Enter") {
		t.Fatalf("the first was not asked: %s", said)
	}
	second, said := begin()
	err := second.Wait()
	want := fmt.Sprintf("error: bench \"sim\" is in use by process %d", first.Process.Pid)
	if second.ProcessState.ExitCode() != exitUnmeasured || !strings.HasPrefix(said, want) || !strings.Contains(said, "calibrate', since ") {
		t.Errorf("the second: %v, %q, want %q", err, said, want)
	}
	if err := first.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	first.Wait() //nolint:errcheck // it was killed
	third, said := begin()
	if !strings.Contains(said, "press Enter") {
		t.Errorf("after the first was killed: %s", said)
	}
	third.Process.Kill() //nolint:errcheck // it may have ended
	third.Wait()         //nolint:errcheck // as above
}

// untilAsked starts a command and reads what it says until it asks for something, or
// until it ends.
func untilAsked(t *testing.T, store string, args ...string) (cmd *exec.Cmd, said string) {
	t.Helper()
	cmd = exec.Command("boardproof", append(args, "--store", store)...)
	pipe, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cmd.StdinPipe(); err != nil { // held open, so that the prompt waits
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for r := bufio.NewReader(pipe); !strings.Contains(said, "press Enter"); {
		b, err := r.ReadByte()
		if err != nil {
			break
		}
		said += string(b)
	}
	return cmd, said
}

// oneOnTheInterface has programs at one interface beside one that accepts there:
// each is told who has it before anything is asked or played, whatever its bench is
// called; when the first is killed the interface is free.
func oneOnTheInterface(t *testing.T, store string) {
	t.Helper()
	first, said := untilAsked(t, store, "accept", "Tin Heron", "--bench", "jack", "--from-start")
	if !strings.Contains(said, "press Enter") {
		t.Fatalf("the first was not asked: %s", said)
	}
	want := fmt.Sprintf("is in use by process %d", first.Process.Pid)
	for _, args := range [][]string{
		{"accept", "Tin Heron", "--bench", "jack", "--from-start"}, {"hum", "watch", "--bench", "jack"},
		{"bench", "set", "again", "--device", jackClient[:6], "--rate", "48000", "--inputs", "A=1,B=2"},
	} {
		second, said := untilAsked(t, store, args...)
		second.Wait() //nolint:errcheck // its code is looked at
		if second.ProcessState.ExitCode() != exitUnmeasured || !strings.Contains(plain(said), want) || strings.Contains(said, "press Enter") {
			t.Errorf("%q beside accept ended with %d: %s", args, second.ProcessState.ExitCode(), said)
		}
		t.Logf("%q: %s", args, said)
	}
	first.Process.Kill() //nolint:errcheck // it may have ended
	first.Wait()         //nolint:errcheck // it was killed
	after, said := untilAsked(t, store, "hum", "watch", "--bench", "jack")
	if !strings.Contains(said, "press Enter") {
		t.Errorf("after the first was killed: %s", said)
	}
	after.Process.Kill() //nolint:errcheck // as above
	after.Wait()         //nolint:errcheck // as above
}
