//go:build unix

package soundcard

import (
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// say writes as a C library does, past Go's os.Stderr.
func say(s string) { unix.Write(2, []byte(s)) }

// TestHushed runs itself as another process, whose standard error it reads.
func TestHushed(t *testing.T) {
	if mode := os.Getenv("BOARDPROOF_TEST_HUSHED"); mode != "" {
		say("<before>")
		err := hushed(func() error {
			say("<chatter>")
			if mode == "crash" {
				done := make(chan bool)
				go func() { panic("a crash while hushed") }()
				<-done
			}
			return errors.New("kept")
		})
		if err == nil || err.Error() != "kept" {
			t.Error("the error of f did not come back")
		}
		say("<after>")
		return
	}
	for mode, want := range map[string][]string{
		"return": {"<before><after>"},
		"crash":  {"<before>", "a crash while hushed", "goroutine"},
	} {
		cmd := exec.Command(os.Args[0], "-test.run=^TestHushed$")
		cmd.Env = append(os.Environ(), "BOARDPROOF_TEST_HUSHED="+mode)
		var said strings.Builder
		cmd.Stderr = &said
		if err := cmd.Run(); (err == nil) != (mode == "return") {
			t.Errorf("%s: the process ended with %v", mode, err)
		}
		for _, w := range want {
			if !strings.Contains(said.String(), w) {
				t.Errorf("%s: standard error is %q; want %q in it", mode, said.String(), w)
			}
		}
		if strings.Contains(said.String(), "chatter") {
			t.Errorf("%s: chatter reached standard error: %q", mode, said.String())
		}
	}
}

// TestNoChatter lists and opens in another process, with no JACK server
// there, which makes ALSA and JACK complain at length.
func TestNoChatter(t *testing.T) {
	if os.Getenv("BOARDPROOF_TEST_CHATTER") != "" {
		if _, err := List(); err != nil {
			t.Error(err)
		}
		if _, err := Open(Config{Device: "no such thing"}); !errors.Is(err, ErrNoDevice) {
			t.Errorf("Open returned %v; want ErrNoDevice wrapped", err)
		}
		return
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestNoChatter$")
	cmd.Env = append(os.Environ(), "BOARDPROOF_TEST_CHATTER=1", "JACK_DEFAULT_SERVER=boardproof-none")
	var out, said strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil || !strings.HasPrefix(out.String(), "PASS\n") || said.Len() > 0 {
		t.Errorf("listing devices: %v; the process said %q and %q; want PASS and nothing", err, out.String(), said.String())
	}
}
