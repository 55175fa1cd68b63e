//go:build unix

package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"boardproof/db"
)

// killed is a store under commands that are killed.
type killed struct {
	*testing.T
	rng         *rand.Rand
	dir, store  string
	n           int // numbers what is made
	digests     map[string]string
	took        map[string]time.Duration
	kills, left int
	wentOn      int
}

const killedPlan = `format = "boardproof-plan/1"
name = "short"
rule = "guarded"
[[step]]
name = "one"
patch = "board"
state = "all bypassed"
prompt = "connect it"
signals = ["silence"]
level_dbu = -10.0
duration_s = 1.0
limit = [ { quantity = "hum", max = -60.0 } ]
[[step]]
name = "two"
patch = "board"
state = "all bypassed"
prompt = "leave it"
signals = ["silence"]
level_dbu = -10.0
duration_s = 1.0
limit = [ { quantity = "hum", max = -60.0 } ]
`

// commands are all that write. {n} is a number that was not there yet.
var killedCommands = [][]string{
	{"accept", "tin", "--yes", "--bench", "sim"},
	{"board", "add", "Board {n}"},
	{"import", "{dir}/tin.bpa", "--store", "{dir}/other.db"},
	{"board", "edit", "tin", "--owner", "Owner {n}"},
	{"service", "work", "tin", "--text", "new joint {n}"},
	{"backup", "--out", "{dir}/backup{n}.db"},
	{"calibrate", "--yes", "--linearity=false", "--bench", "sim"},
	{"restore", "{dir}/whole.db", "--store", "{dir}/restored{n}.db"},
	{"export", "tin", "--out", "{dir}/export{n}.bpa"},
	{"tidy", "--yes", "--older-than", "1"},
	{"bench", "set", "other {n}", "--simulated"},
	{"plan", "edit", "tin", "--from", "{dir}/plan{n}.toml"},
	{"accept", "tin", "--yes", "--bench", "sim"},
	{"recompute", "tin"},
}

func (k *killed) args(args []string) []string {
	k.n++
	out := []string{}
	for _, a := range args {
		out = append(out, strings.NewReplacer("{n}", fmt.Sprint(k.n), "{dir}", k.dir).Replace(a))
	}
	if !slices.Contains(out, "--store") {
		out = append(out, "--store", k.store)
	}
	return out
}

func (k *killed) run(args ...string) {
	k.Helper()
	out, err := exec.Command("boardproof", k.args(args)...).CombinedOutput()
	if err != nil {
		k.Fatalf("%q: %v\n%s", args, err, out)
	}
}

// kill kills a command at a random moment of the time that it takes.
func (k *killed) kill(args []string) {
	k.Helper()
	name := args[0] + " " + args[1]
	line := k.args(args)
	if args[0] == "plan" {
		if err := os.WriteFile(fmt.Sprintf("%s/plan%d.toml", k.dir, k.n), []byte(killedPlan+fmt.Sprintf("# %d\n", k.n)), 0o644); err != nil {
			k.Fatal(err)
		}
	}
	cmd := exec.Command("boardproof", line...)
	began := time.Now()
	if err := cmd.Start(); err != nil {
		k.Fatal(err)
	}
	if k.took[name] > 0 {
		at := time.Duration(k.rng.Int64N(int64(k.took[name])))
		timer := time.AfterFunc(at, func() { cmd.Process.Kill() })
		defer timer.Stop()
	}
	err := cmd.Wait()
	var exit *exec.ExitError
	switch {
	case err == nil:
		// As long as it takes now: the machine has others to serve.
		k.took[name] = time.Since(began)
	case errors.As(err, &exit) && exit.Sys().(syscall.WaitStatus).Signaled():
		k.kills++
	default:
		k.Errorf("%q ended with %v", line, err)
	}
}

// whole opens a store that was written to, verifies it, and finds every run
// that was there before with its digest.
func (k *killed) whole(path string) {
	k.Helper()
	s, err := db.OpenExisting(k.Context(), path)
	if errors.Is(err, db.ErrNoStore) && path != k.store {
		return // killed before it was made
	}
	if err != nil {
		k.Fatal(err)
	}
	defer s.Close()
	v, err := s.Verify(k.Context(), nil)
	if err != nil || len(v.Damage) > 0 {
		k.Fatalf("%s after a kill: %+v, %v", path, v.Damage, err)
	}
	if path == k.store {
		k.sameRuns(s)
	}
}

func (k *killed) sameRuns(s *db.Store) {
	k.Helper()
	boards, err := s.Boards(k.Context())
	if err != nil {
		k.Fatal(err)
	}
	now := map[string]string{}
	for _, b := range boards {
		runs, err := s.Runs(k.Context(), b.ID)
		if err != nil {
			k.Fatal(err)
		}
		for _, r := range runs {
			now[r.ID] = r.Digest
		}
	}
	for id, digest := range k.digests {
		if now[id] != digest {
			k.Errorf("run %s is lost or another", id)
		}
	}
	k.digests = now
}

// goOn goes on with a sitting that was left, where there is one to go on with.
func (k *killed) goOn() {
	k.Helper()
	s, err := db.OpenExisting(k.Context(), k.store)
	if err != nil {
		k.Fatal(err)
	}
	open, err := s.OpenSittings(k.Context())
	if err := errors.Join(err, s.Close()); err != nil {
		k.Fatal(err)
	}
	if len(open) == 0 {
		return
	}
	args := []string{"accept", "tin", "--yes", "--go-on", "--bench", "sim"}
	if open[0].Kind == db.Calibration {
		args = []string{"calibrate", "--yes", "--linearity=false", "--go-on", "--bench", "sim"}
	}
	k.left++
	out, err := exec.Command("boardproof", k.args(args)...).CombinedOutput()
	var exit *exec.ExitError
	switch {
	case err == nil && strings.Contains(string(out), "taken before"):
		k.wentOn++
	case err == nil || errors.As(err, &exit) && strings.Contains(string(out), "there is no sitting to go on with"):
		// Nothing of it was done yet, or another plan or profile is there by now.
	default:
		k.Errorf("gone on with: %v\n%s", err, out)
	}
}

// killedStore is a store with a bench, a board and a run, and copies of them.
func killedStore(t *testing.T) *killed {
	t.Helper()
	dir := t.TempDir()
	k := &killed{T: t, rng: rand.New(rand.NewPCG(12, 12)), dir: dir, store: dir + "/s.db", took: map[string]time.Duration{}}
	if err := os.WriteFile(dir+"/plan.toml", []byte(killedPlan), 0o644); err != nil {
		t.Fatal(err)
	}
	k.run("bench", "set", "sim", "--simulated")
	k.run("calibrate", "--yes", "--linearity=false")
	k.run("board", "add", "Tin Heron")
	k.run("plan", "edit", "tin", "--from", "{dir}/plan.toml")
	k.run("accept", "tin", "--yes")
	k.run("export", "tin", "--out", "{dir}/tin.bpa")
	k.run("backup", "--out", "{dir}/whole.db")
	return k
}

// Programs are killed at random moments of everything that writes. Nothing that
// was kept is lost, the store is whole each time, and sittings that were left
// are gone on with to their end. KILLS=1000 kills so often; `make kills` does.
func TestKilledAtAnyMoment(t *testing.T) {
	if testing.Short() {
		t.Skip("runs dozens of commands")
	}
	want, err := strconv.Atoi(os.Getenv("KILLS"))
	if err != nil {
		want = len(killedCommands)
	}
	k := killedStore(t)
	dir := k.dir
	for i := 0; k.kills < want && i < 4*want; i++ {
		c := killedCommands[i%len(killedCommands)]
		k.kill(c)
		k.whole(k.store)
		switch c[0] {
		case "import":
			k.whole(dir + "/other.db")
		case "accept", "calibrate":
			k.goOn()
			k.whole(k.store)
		}
		if i%len(killedCommands) == 0 {
			k.clear()
		}
		if k.kills%100 == 0 {
			t.Logf("%d kills in %d commands; %d runs kept, %d sittings left, %d gone on with", k.kills, i+1, len(k.digests), k.left, k.wentOn)
		}
	}
	t.Logf("%d kills; %d runs kept, lost 0; %d sittings left, %d gone on with to their end", k.kills, len(k.digests), k.left, k.wentOn)
	if k.kills < want/2 {
		t.Errorf("%d kills, want %d", k.kills, want)
	}
}

// clear removes what was copied.
func (k *killed) clear() {
	for _, pattern := range []string{"backup*", "restored*", "export*", "plan?*.toml", "other.db*"} {
		names, err := filepath.Glob(filepath.Join(k.dir, pattern))
		if err != nil {
			k.Fatal(err)
		}
		for _, n := range names {
			if err := os.RemoveAll(n); err != nil {
				k.Fatal(err)
			}
		}
	}
}
