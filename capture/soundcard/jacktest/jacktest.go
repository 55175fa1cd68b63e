//go:build unix

// Package jacktest gives tests a real audio path without hardware: a JACK
// server of their own with the dummy driver, and ecasound as a client of it
// that filters. PortAudio shows both as devices.
//
// In this room: starting, waiting for and ending those programs. Not in this
// room: anything about samples.
package jacktest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// RateHz and PeriodFrames are what the server runs with.
const (
	RateHz       = 48000
	PeriodFrames = 1024
)

// Loopback is the device whose inputs are its own outputs, two of each.
const Loopback = "loopback"

// readyWithin only bounds a program that never appears: on a busy machine one
// that does may take a minute.
const readyWithin = 5 * time.Minute

// endWithin is how long a program may take to clean up after itself.
const endWithin = time.Minute

// Server is a running JACK server. Its name is in JACK_DEFAULT_SERVER for as
// long as the test runs, so PortAudio in this process finds it.
type Server struct {
	Name    string
	cmd     *exec.Cmd
	clients []*exec.Cmd
}

// Require skips the test where one of the programs is not installed, and
// fails it where the environment says CI=true.
func Require(t testing.TB, programs ...string) {
	t.Helper()
	for _, p := range programs {
		if _, err := exec.LookPath(p); err == nil {
			continue
		}
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed; run .ci/deps", p)
		}
		t.Skipf("%s is not installed; run .ci/deps", p)
	}
}

// Start starts a server that ends with the test. The test must not be
// parallel, because it changes the environment.
func Start(t testing.TB) *Server {
	t.Helper()
	Require(t, "jackd", "jack_lsp")
	s := &Server{Name: takeTurn(t)}
	t.Setenv("JACK_DEFAULT_SERVER", s.Name)
	t.Setenv("JACK_NO_START_SERVER", "1")
	// Synchronous: the server waits for its clients in each period, so that
	// fewer blocks are lost on a busy machine.
	cmd, said := launch(t, "jackd", "-n", s.Name, "--sync", "-L", "2", "--no-realtime",
		"-d", "dummy", "-r", fmt.Sprint(RateHz), "-p", fmt.Sprint(PeriodFrames), "-C", "2", "-P", "2")
	s.cmd = cmd
	t.Cleanup(func() {
		s.end()
		if words, _ := os.ReadFile(said); t.Failed() {
			t.Logf("the JACK server said:\n%s", words)
		}
	})
	s.waitFor(t, "system:playback_1", said)
	return s
}

// Pid is the server's process, for tests that halt or kill it.
func (s *Server) Pid() int { return s.cmd.Process.Pid }

// Ecasound starts ecasound as a JACK client, and so as a device of that
// name, that puts two channels through the given chain options until the
// test ends or stop is called. It returns once its ports are there, and stop
// once they are gone.
func (s *Server) Ecasound(t testing.TB, name string, chain ...string) (stop func()) {
	t.Helper()
	return s.client(t, name, arrange(chain, "jack", "jack"))
}

// Player starts ecasound as a device of that name whose inputs are a file of
// raw interleaved stereo 32-bit little-endian floats at RateHz, over and over,
// and whose outputs go nowhere.
func (s *Server) Player(t testing.TB, name, file string) (stop func()) {
	t.Helper()
	format := fmt.Sprintf("-f:f32_le,2,%d", RateHz)
	return s.client(t, name, []string{"-a:1", format, "-i:audioloop," + file, format, "-o:jack", "-a:2", format, "-i:jack", "-o:null"})
}

func (s *Server) client(t testing.TB, name string, arguments []string) (stop func()) {
	t.Helper()
	Require(t, "ecasound")
	args := append([]string{"-q", "-G:jack," + name + ",notransport", "-b:" + fmt.Sprint(PeriodFrames)}, arguments...)
	client, said := launch(t, "ecasound", args...)
	s.clients = append(s.clients, client)
	s.waitFor(t, name+":out_2", said)
	waitActive(t, name)
	return func() {
		t.Helper()
		s.clients = slices.DeleteFunc(s.clients, func(c *exec.Cmd) bool { return c == client })
		client.Process.Signal(syscall.SIGTERM)
		client.Wait()
		s.waitUntil(t, said, "JACK port "+name+":out_2 to go", func(list string) bool { return !strings.Contains(list, name+":") })
	}
}

// EcasoundFile puts a file of raw interleaved stereo 32-bit little-endian
// floats at RateHz through the same chain options and returns the result in
// the same form.
func EcasoundFile(t testing.TB, raw []byte, chain ...string) []byte {
	t.Helper()
	Require(t, "ecasound")
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in.raw"), filepath.Join(dir, "out.raw")
	if err := os.WriteFile(in, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"-q", "-b:" + fmt.Sprint(PeriodFrames)}, arrange(chain, in, out)...)
	cmd := exec.Command("ecasound", args...)
	cmd.Env = environment(dir)
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ecasound %s: %v\n%s", strings.Join(args, " "), err, said)
	}
	result, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// arrange gives each chain the same input and output. Outputs of several
// chains are summed, not averaged as ecasound otherwise does.
func arrange(chain []string, in, out string) []string {
	names := []string{}
	for _, c := range chain {
		if name, ok := strings.CutPrefix(c, "-a:"); ok {
			names = append(names, name)
		}
	}
	format := fmt.Sprintf("-f:f32_le,2,%d", RateHz)
	all := "-a:" + strings.Join(names, ",")
	if len(names) == 0 {
		all = "-a:1"
	}
	return append([]string{"-z:mixmode,sum", all, format, "-i:" + in, all, format, "-o:" + out}, chain...)
}

// launch starts a program and returns it and the file that holds what it says.
func launch(t testing.TB, name string, args ...string) (cmd *exec.Cmd, said string) {
	t.Helper()
	home := t.TempDir()
	said = filepath.Join(home, "said")
	out, err := os.Create(said)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	cmd = exec.Command(name, args...)
	cmd.Env = environment(home)
	cmd.Stdout, cmd.Stderr = out, out
	tether(cmd)
	if err := cmd.Start(); err != nil {
		t.Fatalf("starting %s: %v", name, err)
	}
	return cmd, said
}

// end ends the server before its clients: politely, because one that is
// killed leaves its memory behind, and first, because it waits for clients
// that vanish.
func (s *Server) end() {
	kill := time.AfterFunc(endWithin, func() { s.cmd.Process.Kill() })
	defer kill.Stop()
	s.cmd.Process.Signal(syscall.SIGTERM)
	s.cmd.Wait()
	for _, c := range s.clients {
		c.Process.Kill()
		c.Wait()
	}
}

// environment keeps the user's own settings of these programs out.
func environment(home string) []string { return append(os.Environ(), "HOME="+home) }

// waitActive returns once a client's ports may be connected, which is later
// than they exist.
func waitActive(t testing.TB, name string) {
	t.Helper()
	for deadline := time.Now().Add(readyWithin); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if exec.Command("jack_connect", "system:capture_1", name+":in_1").Run() != nil {
			continue
		}
		if said, err := exec.Command("jack_disconnect", "system:capture_1", name+":in_1").CombinedOutput(); err != nil {
			t.Fatalf("taking the connection to %s back: %v\n%s", name, err, said)
		}
		return
	}
	t.Fatalf("JACK client %s is not active after %v", name, readyWithin)
}

// waitFor returns once a JACK port exists.
func (s *Server) waitFor(t testing.TB, port string, said string) {
	t.Helper()
	s.waitUntil(t, said, "JACK port "+port, func(list string) bool { return strings.Contains(list, port+"\n") })
}

// waitUntil returns once the list of JACK ports is as wanted.
func (s *Server) waitUntil(t testing.TB, said, what string, is func(list string) bool) {
	t.Helper()
	for deadline := time.Now().Add(readyWithin); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		list, err := exec.Command("jack_lsp").Output()
		if err == nil && is(string(list)) {
			return
		}
	}
	words, _ := os.ReadFile(said)
	t.Fatalf("waited %v for %s; the program said:\n%s", readyWithin, what, words)
}
