package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// From outside the program: the n-th call by which SQLite writes fails once with
// an I/O error, or fails from then on as on a full disk. Nothing that was kept is
// lost, and it is said as what it is. FAILIO=all tries every n.
func TestFailingDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("runs dozens of commands")
	}
	k := killedStore(t)
	shim := filepath.Join(k.dir, "failio.so")
	if out, err := exec.Command("gcc", "-shared", "-fPIC", "-O1", "-o", shim, "testdata/failio.c", "-ldl").CombinedOutput(); err != nil {
		t.Fatalf("building the shim: %v\n%s", err, out)
	}
	step := 31
	if os.Getenv("FAILIO") == "all" {
		step = 1
	}
	for _, args := range [][]string{
		{"board", "add", "Board {n}"},
		{"board", "edit", "tin", "--owner", "Owner {n}"},
		{"service", "work", "tin", "--text", "new joint {n}"},
		{"import", "{dir}/tin.bpa", "--store", "{dir}/other{n}.db"},
		{"backup", "--out", "{dir}/backup{n}.db"},
		{"restore", "{dir}/whole.db", "--store", "{dir}/restored{n}.db"},
		{"tidy", "--yes", "--older-than", "1"},
		{"accept", "tin", "--yes", "--bench", "sim"},
	} {
		tried, said := 0, 0
		if args[0] == "accept" && step > 1 {
			continue
		}
		for n := 1; ; n += step {
			line, log := k.args(args), filepath.Join(k.dir, "log")
			os.Remove(log)
			cmd := exec.Command("boardproof", line...)
			cmd.Env = append(os.Environ(), "LD_PRELOAD="+shim, "FAILIO_N="+fmt.Sprint(n), "FAILIO_LOG="+log, "FAILIO_ERRNO=5")
			want := "fails to read or write"
			if n%2 == 0 {
				cmd.Env = append(cmd.Env, "FAILIO_ERRNO=28", "FAILIO_STICKS=1")
				want = "is full"
			}
			out, err := cmd.CombinedOutput()
			if which, _ := os.ReadFile(log); len(which) == 0 {
				break
			} else if err == nil && strings.Contains(string(out), "error:") || strings.Contains(string(out), "writable") || strings.Contains(string(out), "panic") {
				t.Errorf("%q, call %d, %s: %v\n%s", args, n, which, err, out)
			}
			tried++
			if err != nil {
				said++
				if !strings.Contains(string(out), want) && !strings.Contains(string(out), "cannot be") {
					t.Errorf("%q, call %d: not said as what it is: %s", args, n, out)
				}
			}
			k.whole(k.store)
			for _, a := range line {
				if strings.HasPrefix(a, k.dir) && strings.HasSuffix(a, ".db") && a != k.store && err == nil {
					k.whole(a)
				}
			}
		}
		k.clear()
		t.Logf("%s %s: %d calls failed, %d of them ended it", args[0], args[1], tried, said)
	}
}
