// Package terminal is the person at a terminal: a [talk.Person] to whom prompts
// and progress are shown on one stream, so that results on the other can be
// piped, and who answers with lines of the keyboard or of a script.
package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"

	"golang.org/x/term"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
)

// Options are how somebody wants to be talked to.
type Options struct {
	// Yes: nobody is there; what is to be done counts as done.
	Yes bool
	// JSON: what is watched comes as JSON, and nothing else goes among the results.
	JSON bool
	// Columns is how wide the page is that results are printed on.
	Columns int
	// Fail, where not nil, ends what is going on where what is found on the way
	// cannot be shown.
	Fail func(error)
}

// Terminal is the person at a terminal.
type Terminal struct {
	Options
	keys *keyboard
	// prompts is where questions and progress go, results where what is found on
	// the way goes, watched where hum that is watched goes.
	prompts, results, watched io.Writer
	isTerm                    bool
	columns                   int

	mu      sync.Mutex
	take    *takeBar
	working *working
	view    *humView
	failed  error
}

var _ talk.Person = (*Terminal)(nil)

// New is the person who types at in, reads results at out and prompts at err.
func New(in io.Reader, out, err io.Writer, o Options) *Terminal {
	t := &Terminal{Options: o, keys: newKeyboard(in), prompts: err, results: out, watched: out, columns: unknownColumns}
	if o.JSON {
		t.results = err
	}
	if w := Columns(err); w > 0 {
		t.isTerm, t.columns = true, w
	}
	return t
}

// Columns is how wide a terminal is, 0 for what is none.
func Columns(w io.Writer) int {
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

// PageColumns is how wide text is where there is no terminal.
const PageColumns = 100

// Failed is why something that was found on the way could not be shown.
func (t *Terminal) Failed() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.failed
}

// Ask shows a question and reads lines until one is an answer.
func (t *Terminal) Ask(ctx context.Context, q talk.Question) (talk.Answer, error) {
	switch err := q.Fault(); {
	case err != nil:
		return talk.Answer{}, err
	case ctx.Err() != nil:
		return talk.Answer{}, ctx.Err()
	}
	if t.Yes {
		if q.Kind == talk.Do {
			t.show(q)
		}
		return talk.Unattended(ctx, q)
	}
	t.show(q)
	for {
		line, err := t.line(ctx, t.input(q))
		if err != nil {
			return talk.Answer{}, err
		}
		a, err := q.Read(line)
		var wrong *talk.WrongAnswer
		if !errors.As(err, &wrong) || t.keys.tty == nil && !q.Repeats() {
			return a, err
		}
		t.wrapped(map[bool]string{false: "  "}[q.Kind == talk.Text], wrong.Error())
	}
}

// show shows what comes before the line on which the answer is typed.
func (t *Terminal) show(q talk.Question) {
	if q.Caution != "" {
		t.wrapped("  CAUTION: ", q.Caution)
	}
	switch {
	case q.Kind == talk.Do && q.Prompt != "":
		t.wrapped("  ", q.Prompt)
	case q.Kind == talk.Text, q.Kind == talk.Choose && q.How != "":
		t.wrapped("", q.Prompt)
	case q.Kind == talk.Choose:
		t.wrapped("  ", q.Prompt)
	}
	for _, c := range q.Choices {
		name := c.Key
		if name == "" {
			name = "Enter"
		}
		switch {
		case q.Kind == talk.Text:
			t.wrapped(fmt.Sprintf("  %s  ", name), c.Means)
		case q.How == "":
			t.wrapped(fmt.Sprintf("    %-5s  ", name), c.Means)
		}
	}
}

// input is the line on which the answer is typed.
func (t *Terminal) input(q talk.Question) string {
	switch {
	case q.Kind == talk.Do && q.Back:
		return "  press Enter when ready, q and Enter to go back to the list: "
	case q.Kind == talk.Do:
		return "  press Enter when ready, q and Enter to stop: "
	case q.Kind == talk.YesNo:
		return q.Prompt + " yes or no: "
	case q.Kind == talk.Number:
		return fmt.Sprintf("  %s (%s): ", q.Prompt, q.How)
	case q.Kind == talk.Choose && q.How != "":
		return "  " + q.How + ": "
	case q.Kind == talk.Text:
		t.wrapped("  ", q.How)
	}
	return "  > "
}

// line shows where an answer is typed and reads it.
func (t *Terminal) line(ctx context.Context, input string) (string, error) {
	t.keys.forget()
	fmt.Fprint(report.Seen{To: t.prompts}, input)
	line, err := t.keys.line(ctx)
	// Where nobody typed Enter, the next message would stand beside the question.
	if err != nil || t.keys.tty == nil {
		fmt.Fprintln(t.prompts)
	}
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case err != nil && line == "":
		return "", talk.ErrNoAnswer
	}
	return line, nil
}

// wrapped prints text as wide as the terminal.
func (t *Terminal) wrapped(lead, text string) {
	report.Wrap(report.Seen{To: t.prompts}, min(PageColumns, t.columns), lead, text)
}
