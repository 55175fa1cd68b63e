package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"
)

// keyboard is where answers come from. At a terminal an answer is what is
// typed after its question was shown; what was typed before is thrown away.
// Anything else is a script: one line for each question, in their order, none
// thrown away.
type keyboard struct {
	// in is buffered once, so that one prompt does not swallow what was piped
	// in for the next.
	in *bufio.Reader
	// tty is the terminal, nil where there is none.
	tty *os.File
	// answered is when the last line was read.
	answered time.Time
}

// tooSoon is how long after an answer another one is no answer to the question
// that follows it, but a key that bounced or was struck twice: nobody reads and
// does something in that time (common practice, no source).
const tooSoon = 400 * time.Millisecond

func newKeyboard(in io.Reader) *keyboard {
	k := &keyboard{in: bufio.NewReader(in)}
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		k.tty = f
	}
	return k
}

// forget throws away what was typed before the question that comes now.
func (k *keyboard) forget() {
	if k.tty == nil {
		return
	}
	time.Sleep(tooSoon - time.Since(k.answered))
	flushTyped(int(k.tty.Fd()))
	k.in.Discard(k.in.Buffered()) //nolint:errcheck // what is buffered can be discarded
}

// line reads one line, of no more bytes than are buffered: what never ends is
// no answer. What nobody sees, as an arrow key sends, is made visible.
func (k *keyboard) line() (string, error) {
	line, err := k.in.ReadSlice('\n')
	k.answered = time.Now()
	if errors.Is(err, bufio.ErrBufferFull) {
		return "", fmt.Errorf("the answer is longer than %d bytes", len(line))
	}
	return visible(string(line)), err
}
