package terminal

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/talk/talktest"
)

// piped is a person whose answers come through a pipe, which stays open.
func piped(t *testing.T, alone bool, lines ...string) talk.Person {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close(); w.Close() })
	for _, line := range lines {
		if _, err := w.WriteString(line + "\n"); err != nil {
			t.Fatal(err)
		}
	}
	return New(r, io.Discard, io.Discard, Options{Yes: alone})
}

func TestPiped(t *testing.T) { talktest.Run(t, piped) }

// What ends without a line end is an answer too.
func TestFromAFile(t *testing.T) {
	talktest.Run(t, func(_ *testing.T, alone bool, lines ...string) talk.Person {
		text := strings.Join(lines, "\n")
		if len(lines) > 0 && lines[len(lines)-1] == "" {
			text += "\n"
		}
		return New(strings.NewReader(text), io.Discard, io.Discard, Options{Yes: alone})
	})
}

// A line that never ends is no answer.
func TestEndlessLine(t *testing.T) {
	p := New(strings.NewReader(strings.Repeat("x", 1<<20)), io.Discard, io.Discard, Options{})
	if _, err := p.Ask(t.Context(), talk.Question{Kind: talk.Text, Flag: "yes"}); !errors.Is(err, talk.ErrNoAnswer) {
		t.Errorf("%v", err)
	}
}

// What is found on the way and cannot be shown ends what is going on.
func TestWhatCannotBeShownEndsIt(t *testing.T) {
	ctx, fail := context.WithCancelCause(t.Context())
	p := New(strings.NewReader(""), fullDisk{}, io.Discard, Options{Fail: fail})
	p.Tell(ctx, talk.HumRead{AtS: 2})
	if !errors.Is(p.Failed(), errFull) || !errors.Is(context.Cause(ctx), errFull) {
		t.Errorf("%v, %v", p.Failed(), context.Cause(ctx))
	}
}

var errFull = errors.New("no space left on device")

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

// The two voices: with JSON nothing but results goes among them.
func TestNotesGoBesideTheJSON(t *testing.T) {
	for asJSON, want := range map[bool]string{false: "note: no profile\n", true: ""} {
		var out, prompts bytes.Buffer
		p := New(strings.NewReader(""), &out, &prompts, Options{JSON: asJSON, Columns: 100})
		p.Tell(t.Context(), talk.Remark{Severity: talk.Note, Text: "no profile"})
		p.Tell(t.Context(), talk.Remarkf("plain"))
		if out.String() != want || !strings.HasSuffix(prompts.String(), "plain\n") {
			t.Errorf("JSON %t: %q among the results, %q beside them", asJSON, out.String(), prompts.String())
		}
	}
}
