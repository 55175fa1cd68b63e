package terminal

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"boardproof/db"

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
	// from lets go of the input when a question need not be answered any more.
	from *interruptible
	// tty is the terminal, nil where there is none.
	tty *os.File
	// answered is when the last line was read.
	answered time.Time
	// pause is tooSoon, but in tests.
	pause time.Duration
}

// tooSoon is how long after an answer another one is no answer to the question
// that follows it, but a key that bounced or was struck twice: nobody reads and
// does something in that time (common practice, no source).
const tooSoon = 400 * time.Millisecond

func newKeyboard(in io.Reader) *keyboard {
	k := &keyboard{from: &interruptible{in: in}, pause: tooSoon}
	k.in = bufio.NewReader(k.from)
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		k.tty = f
	}
	return k
}

// interruptible reads a file as long as its context lasts, without a goroutine
// that would be left behind with the file and take what is meant for the next
// question. What is no file is read as it comes.
type interruptible struct {
	in  io.Reader
	ctx context.Context
}

func (r *interruptible) Read(p []byte) (int, error) {
	if f, ok := r.in.(*os.File); ok {
		if err := waitReadable(r.ctx, f); err != nil {
			return 0, err
		}
	}
	return r.in.Read(p)
}

// forget throws away what was typed before the question that comes now.
func (k *keyboard) forget() {
	if k.tty == nil {
		return
	}
	time.Sleep(k.pause - time.Since(k.answered))
	flushTyped(int(k.tty.Fd()))
	k.in.Discard(k.in.Buffered()) //nolint:errcheck // what is buffered can be discarded
}

// line reads one line, of no more bytes than are buffered: what never ends is
// no answer. What nobody sees, as an arrow key sends, is made visible.
func (k *keyboard) line(ctx context.Context) (string, error) {
	k.from.ctx = ctx
	line, err := k.in.ReadSlice('\n')
	k.answered = time.Now()
	if errors.Is(err, bufio.ErrBufferFull) {
		return "", fmt.Errorf("the answer is longer than %d bytes", len(line))
	}
	return strings.TrimSpace(db.Visible(string(line))), err
}

// entered says whether a line was entered at a terminal since it was last asked.
func (k *keyboard) entered() bool {
	if k.tty == nil || k.in.Buffered() == 0 && !isReadable(k.tty) {
		return false
	}
	_, err := k.line(context.Background())
	return err == nil
}
