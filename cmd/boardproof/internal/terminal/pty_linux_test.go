package terminal

import (
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/talk/talktest"
)

// typist types the next line each time that an answer is waited for.
type typist struct {
	master *os.File
	mu     sync.Mutex
	lines  []string
	seen   string
}

// open is a pseudo-terminal of 80 columns; ptmx(4) says how it is opened.
func open(t *testing.T) (master, slave *os.File) {
	t.Helper()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	master = os.NewFile(uintptr(fd), "ptmx")
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0); err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 50, Col: 80}); err != nil {
		t.Fatal(err)
	}
	return master, slave
}

func (y *typist) read() {
	buf := make([]byte, 4096)
	for {
		n, err := y.master.Read(buf)
		if err != nil {
			return
		}
		y.mu.Lock()
		y.seen += string(buf[:n])
		if end := strings.HasSuffix(y.seen, ": ") || strings.HasSuffix(y.seen, "  > "); end && len(y.lines) > 0 {
			y.master.WriteString(y.lines[0] + "\n") //nolint:errcheck // the test fails without
			y.lines, y.seen = y.lines[1:], ""
		}
		y.mu.Unlock()
	}
}

func typed(t *testing.T, alone bool, lines ...string) talk.Person {
	t.Helper()
	master, slave := open(t)
	y := &typist{master: master, lines: lines}
	var done sync.WaitGroup
	done.Go(y.read)
	t.Cleanup(func() { master.Close(); done.Wait(); slave.Close() })
	p := New(slave, slave, slave, Options{Yes: alone})
	p.keys.pause = 0
	return p
}

func TestTyped(t *testing.T) { talktest.Run(t, typed) }

func TestNothingTypedAhead(t *testing.T) {
	talktest.RunAtKeys(t, func(t *testing.T) (talk.Person, func(string)) {
		master, slave := open(t)
		t.Cleanup(func() { master.Close(); slave.Close() })
		p := New(slave, slave, slave, Options{})
		p.keys.pause = 0
		return p, func(line string) {
			if _, err := master.WriteString(line + "\n"); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// Enter while hum is watched begins best and worst anew, and leaves nothing
// that waits for the next.
func TestEnterWhileWatching(t *testing.T) {
	master, slave := open(t)
	defer master.Close()
	defer slave.Close()
	k := newKeyboard(slave)
	if k.entered() {
		t.Error("something was entered before it was")
	}
	if _, err := master.WriteString("\n"); err != nil {
		t.Fatal(err)
	}
	if err := waitReadable(t.Context(), slave); err != nil {
		t.Fatal(err)
	}
	if !k.entered() || k.entered() {
		t.Error("Enter counts once")
	}
}
