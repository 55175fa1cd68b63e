package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
)

// terminal is the operator at a terminal: prompts and progress go to the
// error stream, so that results can be piped.
type terminal struct {
	// stop ends a prompt that waits for an answer.
	stop    context.Context
	keys    *keyboard
	out     io.Writer
	yes     bool
	isTerm  bool
	columns int
}

func (a *app) operator(ctx context.Context) *terminal {
	t := &terminal{stop: ctx, keys: a.keys, out: a.err, yes: a.yes, columns: unknownColumns}
	if w := columnsOf(a.err); w > 0 {
		t.isTerm, t.columns = true, w
	}
	return t
}

// columnsOf is how wide a terminal is, 0 for what is none.
func columnsOf(w io.Writer) int {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return 0
	}
	if columns, _, err := term.GetSize(int(f.Fd())); err == nil && columns > 0 {
		return columns
	}
	return unknownColumns
}

// unknownColumns is how wide a terminal is taken for that does not say.
const unknownColumns = 80

// Ready shows caution and prompt and waits for Enter.
func (t *terminal) Ready(prompt, caution string) error {
	if caution != "" {
		t.wrapped("  CAUTION: ", caution)
	}
	if prompt != "" {
		t.wrapped("  ", prompt)
	}
	if t.yes {
		return nil
	}
	_, err := t.choose("  press Enter when ready, q and Enter to stop: ", "")
	return err
}

// ReadyOrBack is Ready where q goes back to the list.
func (t *terminal) ReadyOrBack(prompt, caution string) error {
	yes := t.yes
	t.yes = true
	err := t.Ready(prompt, caution)
	t.yes = yes
	if err != nil || yes {
		return err
	}
	_, err = t.choose("  press Enter when ready, q and Enter to go back to the list: ", "")
	if errors.Is(err, errStopped) {
		return procedure.ErrBack
	}
	return err
}

// Ask puts a question and lists its answers, of which the first is Enter's.
func (t *terminal) Ask(question string, answers ...procedure.Answer) (string, error) {
	if t.yes {
		return "", procedure.ErrNobody
	}
	t.wrapped("  ", question)
	keys := make([]string, len(answers))
	for i, a := range answers {
		keys[i] = a.Key
		name := a.Key
		if name == "" {
			name = "Enter"
		}
		t.wrapped(fmt.Sprintf("    %-5s  ", name), a.Means)
	}
	return t.choose("  > ", keys...)
}

// choose asks until it gets one of keys, "" being Enter. A script that gives
// another answer is out of step with the questions, and ends there.
func (t *terminal) choose(question string, keys ...string) (string, error) {
	for {
		answer, err := t.ask(question)
		if err != nil {
			return "", err
		}
		if i := slices.IndexFunc(keys, func(k string) bool { return strings.EqualFold(k, answer) }); i >= 0 {
			return keys[i], nil
		}
		wrong := fmt.Sprintf("%q is no answer here: %s", answer, expectedKeys(keys))
		if t.keys.tty == nil {
			return "", wrongUsef("%s", wrong)
		}
		t.wrapped("  ", wrong)
	}
}

// expectedKeys says what can be answered.
func expectedKeys(keys []string) string {
	words := make([]string, len(keys))
	for i, k := range keys {
		words[i] = k + " and Enter"
		if k == "" {
			words[i] = "Enter alone"
		}
	}
	return strings.Join(words, ", ") + ", or q and Enter to stop"
}

// errStopped ends a procedure at the operator's wish.
var errStopped = errors.New("stopped at the prompt; nothing of this was kept")

func (t *terminal) ask(question string) (string, error) {
	t.keys.forget()
	fmt.Fprint(seen{t.out}, question)
	line, err := t.readLine()
	// Where nobody typed Enter, the next message would stand beside the question.
	if err != nil || t.keys.tty == nil {
		fmt.Fprintln(t.out)
	}
	switch {
	case t.stop.Err() != nil:
		return "", t.stop.Err()
	case err != nil && line == "":
		return "", wrongUsef("there is no answer to read: answer at the prompt, or use --yes")
	case strings.EqualFold(line, "q"):
		return "", unmeasured(errStopped)
	}
	return line, nil
}

// readLine reads an answer; it returns at once when the program is to stop,
// and leaves the reading behind.
func (t *terminal) readLine() (string, error) {
	type answer struct {
		line string
		err  error
	}
	read := make(chan answer, 1)
	go func() {
		line, err := t.keys.line()
		read <- answer{strings.TrimSpace(line), err}
	}()
	select {
	case a := <-read:
		return a.line, a.err
	case <-t.stop.Done():
		return "", t.stop.Err()
	}
}

// Say prints one message.
func (t *terminal) Say(text string) { t.wrapped("", text) }

// Watch shows a bar with the inputs' peaks on a terminal, one line elsewhere.
func (t *terminal) Watch(what string, seconds float64) (func(capture.Progress), func()) {
	label := fmt.Sprintf("  %s, %.1f s", what, seconds)
	if !t.isTerm {
		fmt.Fprintln(t.out, label)
		return func(capture.Progress) {}, func() {}
	}
	const steps = 1000
	bar := progressbar.NewOptions(steps, progressbar.OptionSetWriter(t.out), progressbar.OptionSetDescription(label),
		progressbar.OptionSetWidth(24), progressbar.OptionSetPredictTime(false), progressbar.OptionClearOnFinish())
	progress := func(p capture.Progress) {
		if p.OfSeconds > 0 {
			bar.Describe(label + peaks(p))
			bar.Set(min(steps, int(p.Seconds/p.OfSeconds*steps))) //nolint:errcheck // a bar that cannot be drawn stops nothing
		}
	}
	return progress, func() {
		bar.Finish() //nolint:errcheck // as above
		fmt.Fprintln(t.out, label+" done")
	}
}

// peaks are the levels of the first two inputs, as in "in1 -23 dBFS".
func peaks(p capture.Progress) string {
	var b strings.Builder
	for i, peak := range p.PeakDBFS {
		if i == 2 {
			break
		}
		channel := i + 1
		if i < len(p.Inputs) {
			channel = p.Inputs[i]
		}
		fmt.Fprintf(&b, " | in%d %4.0f dBFS", channel, max(peak, -120))
	}
	return b.String()
}

// wrapped prints text as wide as the terminal.
func (t *terminal) wrapped(lead, text string) {
	wrap(seen{t.out}, min(pageColumns, t.columns), lead, text)
}

// pageColumns is how wide text is where there is no terminal.
const pageColumns = 100

// wrap prints text at most columns wide, further lines under the first.
func wrap(w io.Writer, columns int, lead, text string) {
	width := max(40, columns) - utf8.RuneCountInString(lead)
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line+" "+word) > width {
			fmt.Fprintln(w, lead+line)
			lead, line = indent, ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, lead+line)
}
