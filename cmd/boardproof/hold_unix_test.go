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
	begin := func() (*exec.Cmd, string) {
		cmd := exec.Command("boardproof", "--store", store, "calibrate")
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
		said := ""
		for r := bufio.NewReader(pipe); !strings.Contains(said, "press Enter"); {
			b, err := r.ReadByte()
			if err != nil {
				return cmd, said
			}
			said += string(b)
		}
		return cmd, said
	}
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
