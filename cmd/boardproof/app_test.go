package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/terminal"
	"boardproof/db"
)

// session is an app on a store of its own with a clock that stands.
type session struct {
	t     *testing.T
	now   time.Time
	store string
	// bench, where not nil, changes the simulated bench and the board on it.
	bench    func(*simboard.Config)
	out, err string
}

var sessionStart = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func newSession(t *testing.T) *session {
	return &session{t: t, now: sessionStart, store: filepath.Join(t.TempDir(), "s.db")}
}

// run carries out a command line with answers at the prompts.
func (s *session) run(answers string, args ...string) int {
	var out, err bytes.Buffer
	a := newApp(strings.NewReader(answers), &out, &err)
	a.now = func() time.Time { return s.now }
	a.ready = s.readyBench()
	code := a.run(context.Background(), append(args, "--store", s.store))
	s.out, s.err = out.String(), err.String()
	return code
}

// readyBench makes simulated benches as the session changes them.
func (s *session) readyBench() func(string) (simboard.Config, error) {
	return func(name string) (simboard.Config, error) {
		cfg, err := simboard.Ready(name)
		if s.bench != nil {
			s.bench(&cfg)
		}
		return cfg, err
	}
}

func (s *session) must(want int, args ...string) {
	s.t.Helper()
	if code := s.run("", args...); code != want {
		s.t.Fatalf("%v ended with %d, want %d\n%s%s", args, code, want, s.out, s.err)
	}
}

type resultDocument struct {
	Format    string
	Simulated bool
	Readings  []verdict.Judged
	Curves    []analysis.Curve
	Refused   []analysis.Refusal
}

func (s *session) document() resultDocument {
	s.t.Helper()
	var d resultDocument
	if err := json.Unmarshal([]byte(s.out), &d); err != nil {
		s.t.Fatalf("the output is not one JSON document: %v\n%s", err, s.out)
	}
	if d.Format != report.Format || !d.Simulated {
		s.t.Errorf("format %q, simulated %t", d.Format, d.Simulated)
	}
	return d
}

const levelPlan = `format = "boardproof-plan/1"
name = "levels"
rule = "guarded"
[[step]]
name = "tone"
state = "all bypassed"
patch = "board"
signals = ["tone"]
level_dbu = -10.0
limit = [
  { quantity = "level", min = -12.0, max = -8.0 },
  { quantity = "gain", min = -3.0, max = 1.0 },
  { quantity = "thd", max = 0.1 },
]
[[step]]
name = "silence"
state = "all bypassed"
patch = "board"
signals = ["silence"]
duration_s = 2.0
level_dbu = -10.0
limit = [{ quantity = "noise", weighting = "A", max = -85.0 }]
`

// Past a profile's validity nothing is read in dBu any more, and what is
// relative is.
func TestExpiredProfile(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board twice")
	}
	s := calibrated(t, "--linearity=false", "--valid-days", "30")
	plan := filepath.Join(t.TempDir(), "plan.toml")
	if err := os.WriteFile(plan, []byte(levelPlan), 0o600); err != nil {
		t.Fatal(err)
	}
	s.must(exitPassed, "board", "add", "Tin Heron")
	s.must(exitPassed, "plan", "edit", "tin", "--from", plan)
	s.must(exitPassed, "accept", "tin", "--yes", "--json")
	valid := s.document()
	if len(valid.Readings) == 0 || strings.Contains(s.err, "expired") {
		t.Errorf("%d readings with a valid profile, and said: %s", len(valid.Readings), s.err)
	}

	s.now = s.now.AddDate(0, 0, 31)
	s.must(exitPassed, "bench", "show")
	if !strings.Contains(s.out, "EXPIRED: absolute readings are refused") {
		t.Errorf("bench show does not say that the profile expired:\n%s", s.out)
	}
	s.must(exitUnmeasured, "accept", "tin", "--yes", "--json")
	if n := strings.Count(s.err, "expired on 2026-03-31"); n != 1 {
		t.Errorf("the operator is told %d times that the profile expired:\n%s", n, s.err)
	}
	expired := s.document()
	relative := 0
	for _, r := range expired.Readings {
		switch {
		case r.Absent && (r.Quantity == analysis.Level || r.Quantity == analysis.Noise):
			if r.Verdict != verdict.NotMeasured || r.Note == "" {
				t.Errorf("%s of output %s is %q because of %q", r.Quantity, r.Output, r.Verdict, r.Note)
			}
		case r.Unit == "dBu":
			t.Errorf("%s of output %s is %g dBu past the profile's validity", r.Quantity, r.Output, r.Value)
		case r.Quantity == analysis.Gain:
			relative++
			if r.Verdict != verdict.Pass {
				t.Errorf("gain of output %s: %q", r.Output, r.Verdict)
			}
		}
	}
	if relative != 2 {
		t.Errorf("%d gains are read, want one for each output", relative)
	}
	if len(expired.Refused) == 0 {
		t.Error("nothing is refused")
	}
}

// Ctrl-C at a prompt ends it though nobody pressed Enter.
func TestStopAtThePrompt(t *testing.T) {
	silent, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	defer w.Close()
	ctx, stop := context.WithCancel(context.Background())
	var errs bytes.Buffer
	a := newApp(silent, &errs, &errs)
	time.AfterFunc(50*time.Millisecond, stop)
	_, err = a.talk().Ask(ctx, talk.Question{Kind: talk.Do, Prompt: "ready?", Flag: "yes"})
	if code := exitCode(ctx, err); code != exitUnmeasured {
		t.Errorf("stopping at a prompt gives %v, exit %d", err, code)
	}
	errs.Reset()
	a.complain(ctx, err)
	if want := "error: stopped; the output is silent and nothing of this was kept\n"; errs.String() != want {
		t.Errorf("it says %q", errs.String())
	}
}

func TestHelpFitsThePage(t *testing.T) {
	pages := 0
	var visit func(path []string, cmd *cobra.Command)
	visit = func(path []string, cmd *cobra.Command) {
		pages++
		var out bytes.Buffer
		if code := newApp(strings.NewReader(""), &out, &out).run(context.Background(), append(path, "--help")); code != exitPassed {
			t.Errorf("%v --help ended with %d", path, code)
		}
		for _, line := range strings.Split(out.String(), "\n") {
			// What is shown as it is typed or printed cannot be broken.
			shown := cmd.IsAdditionalHelpTopicCommand() && strings.HasPrefix(line, "    ")
			if n := utf8.RuneCountInString(line); n > widest && !shown {
				t.Errorf("%v --help has a line of %d columns: %s", path, n, line)
			}
		}
		if !cmd.IsAdditionalHelpTopicCommand() && !strings.Contains(out.String(), "--store") {
			t.Errorf("%v --help does not name --store", path)
		}
		for _, c := range cmd.Commands() {
			visit(append(path[:len(path):len(path)], c.Name()), c)
		}
	}
	visit(nil, newApp(strings.NewReader(""), nil, nil).root())
	if pages < 25 {
		t.Errorf("only %d commands were found", pages)
	}
}

// The widest line of a list still fits on a page.
func TestFoundFitsThePage(t *testing.T) {
	var out strings.Builder
	a := newApp(strings.NewReader(""), &out, io.Discard)
	wide := strings.Repeat("x", 60)
	b := db.FoundBoard{Board: db.Board{Label: wide, Owner: wide, Serial: wide}, Latest: &db.LatestRun{Verdict: verdict.ConditionalFail, Simulated: true}}
	if err := a.printFound([]db.FoundBoard{b}, ""); err != nil {
		t.Fatal(err)
	}
	if n := utf8.RuneCountInString(strings.TrimSpace(out.String())); n > terminal.PageColumns || strings.Count(out.String(), "…") != 3 {
		t.Errorf("%d columns: %s", n, out.String())
	}
}
