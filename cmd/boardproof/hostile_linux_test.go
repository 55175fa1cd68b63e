package main

import (
	"bytes"
	"context"
	"encoding/binary"
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
)

// hostileKind is a kind of file that comes from elsewhere, a whole one, and the
// command that reads it; {} is the file.
type hostileKind struct {
	name  string
	whole []byte
	args  []string
}

// hostileBound is when a program counts as hung, minutes beyond what any needs on a
// busy machine; hostileMiB when it takes too much memory.
const (
	hostileBound = 5 * time.Minute
	hostileMiB   = 1024
)

// Files that were cut, altered, blown up or made of nothing are read or refused with
// one line: no panic, nothing that hangs, no memory to speak of, and the store is as
// it was (HOSTILE=1000: so many files).
func TestHostileFiles(t *testing.T) {
	n := 10
	if text := os.Getenv("HOSTILE"); text != "" {
		var err error
		if n, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
	}
	store, kinds := hostileKinds(t)
	rng := rand.New(rand.NewPCG(12, 7))
	var most float64
	codes := map[string]int{}
	for i := range n {
		kind := kinds[i%len(kinds)]
		file := filepath.Join(t.TempDir(), kind.name)
		how := mangle(rng, kind.whole)
		if err := os.WriteFile(file, how.file, 0o600); err != nil {
			t.Fatal(err)
		}
		if how.size > 0 {
			if err := os.Truncate(file, how.size); err != nil {
				t.Fatal(err)
			}
		}
		code, mib := readHostile(t, kind, file, how.name)
		most = max(most, mib)
		codes[fmt.Sprintf("%s: exit %d", kind.name, code)]++
		os.Remove(file) //nolint:errcheck // the folder goes anyway
	}
	if out, err := exec.Command("boardproof", "verify", "--store", store).CombinedOutput(); err != nil {
		t.Errorf("the store: %v\n%s", err, out)
	}
	t.Logf("%d hostile files; at most %.0f MiB; %v", n, most, codes)
}

// readHostile has the program read a file, and judges how it ends.
func readHostile(t *testing.T, kind hostileKind, file, how string) (code int, mib float64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), hostileBound)
	defer cancel()
	var args []string
	for _, a := range kind.args {
		args = append(args, strings.ReplaceAll(a, "{}", file))
	}
	cmd := exec.CommandContext(ctx, "boardproof", args...)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	code = cmd.ProcessState.ExitCode()
	if u, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		mib = float64(u.Maxrss) / 1024
	}
	text := said.String()
	bad := ""
	switch {
	case ctx.Err() != nil:
		bad = "hung"
	case code < exitPassed || code > exitUnmeasured || strings.Contains(text, "goroutine "):
		bad = fmt.Sprintf("ended with %d", code)
	case mib > hostileMiB:
		bad = fmt.Sprintf("took %.0f MiB", mib)
	case code != exitPassed && text == "":
		bad = "was refused without a word"
	}
	if bad != "" {
		kept := filepath.Join(os.TempDir(), fmt.Sprintf("boardproof-hostile-%d-%s", time.Now().UnixNano(), kind.name))
		os.Rename(file, kept) //nolint:errcheck // it is a help only
		t.Errorf("a %s (%s, kept as %s) %s: %.500s", kind.name, how, kept, bad, text)
	}
	return code, mib
}

// hostileKinds are whole files of each kind, of a store with one run.
func hostileKinds(t *testing.T) (store string, kinds []hostileKind) {
	t.Helper()
	s := newSession(t)
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := os.WriteFile(at("plan"), []byte(killedPlan), 0o600); err != nil {
		t.Fatal(err)
	}
	s.must(exitPassed, "bench", "set", "sim", "--simulated")
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false")
	s.must(exitPassed, "board", "add", "Tin Heron")
	s.must(exitPassed, "plan", "edit", "tin", "--from", at("plan"))
	s.must(exitPassed, "accept", "tin", "--yes")
	s.must(exitPassed, "runs", "tin")
	run := strings.Fields(s.out)[0]
	s.must(exitPassed, "export", "tin", "--out", at("archive"))
	s.must(exitPassed, "sheet", run, "--out", at("sheet.html"))
	s.must(exitPassed, "signal", "silence", "--duration", "1", "--out", at("recording.wav"))
	s.must(exitPassed, "backup", "--out", at("database"))
	other := at("other.db")
	s.must(exitPassed, "backup", "--out", other)
	for name, args := range map[string][]string{
		"recording.wav": {"measure", "silence", "--recorded", "{}", "--outputs", "A=1"},
		"archive":       {"import", "{}", "--store", other},
		"plan":          {"plan", "check", "{}"},
		"sheet.html":    {"sheet", "--check", "{}", "--store", s.store},
		"database":      {"verify", "--store", "{}"},
	} {
		whole, err := os.ReadFile(at(name))
		if err != nil {
			t.Fatal(err)
		}
		kinds = append(kinds, hostileKind{name, whole, args})
	}
	slices.SortFunc(kinds, func(a, b hostileKind) int { return strings.Compare(a.name, b.name) })
	return s.store, kinds
}

// mangled is a file made of a whole one, and what was done to it. size, where not 0,
// is how long it is made, of nothing.
type mangled struct {
	name string
	file []byte
	size int64
}

func mangle(rng *rand.Rand, whole []byte) mangled {
	f := bytes.Clone(whole)
	at := func() int { return rng.IntN(len(f)) }
	// Most of what is read first stands at the beginning.
	early := func() int { return rng.IntN(min(len(f), 256)) }
	switch rng.IntN(10) {
	case 0:
		return mangled{"cut", f[:at()], 0}
	case 1:
		for range 1 + rng.IntN(20) {
			f[at()] ^= 1 << rng.IntN(8)
		}
		return mangled{"bits flipped", f, 0}
	case 2:
		for range 1 + rng.IntN(4) {
			f[early()] = byte(rng.Uint32())
		}
		return mangled{"beginning altered", f, 0}
	case 3:
		huge := []uint32{0xFFFFFFFF, 0x7FFFFFF0, 0x80000000, 0}
		if k := early() &^ 3; k+4 <= len(f) {
			binary.LittleEndian.PutUint32(f[k:], huge[rng.IntN(len(huge))])
		}
		return mangled{"a huge length", f, 0}
	case 4:
		for i := range f {
			f[i] = byte(rng.Uint32())
		}
		return mangled{"chance", f[:min(len(f), 1<<16)], 0}
	case 5:
		k := at()
		return mangled{"a part twice", append(f[:k:k], f[k/2:]...), 0}
	case 6:
		k := at()
		clear(f[k:min(len(f), k+4096)])
		return mangled{"a hole of zeros", f, 0}
	case 7:
		k := at()
		return mangled{"deep nesting", append(f[:k:k], bytes.Repeat([]byte("[{\"a\":"), 1<<16)...), 0}
	case 8:
		k := at()
		return mangled{"an endless line", append(append(f[:k:k], bytes.Repeat([]byte("9"), 1<<20)...), f[k:]...), 0}
	default:
		return mangled{"three gigabytes", f, 3 << 30}
	}
}
