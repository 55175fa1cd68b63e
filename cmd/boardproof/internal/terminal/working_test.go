package terminal

import (
	"bytes"
	"strings"
	"sync"
	"testing"
)

// shared is a buffer that a mark that turns may write to meanwhile.
type shared struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *shared) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// What takes long says what it is at, also where it cannot tell how far it is.
func TestWorkingSaysWhatItIsAt(t *testing.T) {
	out := &shared{}
	w := &working{out: out, doing: "exporting"}
	w.tell("copying the database", 0, 0)
	if got := out.String(); got != "" {
		t.Errorf("said before it took long: %q", got)
	}
	w.show()
	if got := out.String(); !strings.Contains(got, "copying the database") || strings.Contains(got, "%") {
		t.Errorf("how far the database is is not known: %q", got)
	}
	w.tell("copying takes", 25, 100)
	if got := out.String(); !strings.Contains(got, "copying takes") || !strings.Contains(got, "25%") {
		t.Errorf("a quarter is done: %q", got)
	}
	w.end()
	end := len(out.String())
	w.tell("copying takes", 26, 100)
	w.end()
	if len(out.String()) != end {
		t.Error("it goes on after its end")
	}
}
