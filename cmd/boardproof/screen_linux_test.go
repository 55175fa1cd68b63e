package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// screen is the program at a terminal of its own, by way of a pseudo-terminal.
type screen struct {
	t       *testing.T
	master  *os.File
	seen    string
	arrived chan string
	ended   chan int
}

// atTerminal starts the program at a terminal of so many columns.
func (s *session) atTerminal(columns int, args ...string) *screen {
	s.t.Helper()
	master, slave := openPty(s.t, columns)
	a := newApp(slave, slave, slave)
	a.now, a.ready = func() time.Time { return s.now }, s.readyBench()
	at := &screen{t: s.t, master: master, arrived: make(chan string, 100), ended: make(chan int, 1)}
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		at.ended <- a.run(ctx, append(args, "--store", s.store))
		slave.Close()
	}()
	go func() {
		defer close(at.arrived)
		for buf := make([]byte, 4096); ; {
			n, err := master.Read(buf)
			if err != nil {
				return
			}
			at.arrived <- string(buf[:n])
		}
	}()
	s.t.Cleanup(func() { cancel(); master.Close() })
	return at
}

// openPty is a new pseudo-terminal; ptmx(4) says how it is opened.
func openPty(t *testing.T, columns int) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0); err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 50, Col: uint16(columns)}); err != nil {
		t.Fatal(err)
	}
	return master, slave
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
	return s.seen, <-s.ended
}
