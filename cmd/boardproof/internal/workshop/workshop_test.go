package workshop

import (
	"context"
	"errors"
	"fmt"
	"go/parser"
	"go/token"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/terminal"
	"boardproof/db"
)

const twoTones = `format = "boardproof-plan/1"
name = "short"
rule = "guarded"
[[step]]
name = "one"
state = "all bypassed"
patch = "board"
signals = ["tone"]
duration_s = 0.5
level_dbu = -10.0
prompt = "plug it in"
limit = [{ quantity = "thd", max = 0.1 }]
[[step]]
name = "two"
state = "all bypassed"
patch = "board"
signals = ["tone"]
duration_s = 0.5
level_dbu = -10.0
prompt = "press the switch"
limit = [{ quantity = "gain", min = -1.0, max = 1.0 }]
`

// at is a workshop with the store at path, and a clock that stands.
func at(ctx context.Context, path string, who talk.Person) (*Workshop, error) {
	store, err := db.Open(ctx, path)
	if err != nil {
		return nil, err
	}
	now := func() time.Time { return time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC) }
	store.Now = now
	return &Workshop{Store: store, Path: path, Person: who, Now: now, Open: Instruments{simboard.Ready, now}.Open, Doing: "a test"}, nil
}

// simulatedOnce is a store with a simulated bench, calibrated, and a board:
// calibrating takes a second.
var simulatedOnce = sync.OnceValues(func() (raw []byte, err error) {
	dir, err := os.MkdirTemp("", "boardproof-test-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	path := filepath.Join(dir, "s.db")
	ctx := context.Background()
	w, err := at(ctx, path, talk.Nobody{})
	if err != nil {
		return nil, err
	}
	bench := db.Bench{Name: "sim", Kind: Simulated, Device: "simulated bench", RateHz: 48000, Output: 1, Inputs: map[string]int{"A": 1, "B": 2}}
	if err := w.SetBench(ctx, bench); err != nil {
		return nil, err
	}
	r := CalibrateRequest{LevelDBFS: -12, ToneHz: 185, Days: 30, Meter: calibration.MeterReading{PercentOfReading: 0.5, ResolutionV: 0.001}}
	if _, _, err := w.Calibrate(ctx, r); err != nil {
		return nil, err
	}
	b, err := w.AddBoard(ctx, db.Board{Label: "Tin Heron", Outputs: []string{"A", "B"}})
	if err != nil {
		return nil, err
	}
	_, plan, err := w.Plan(ctx, b.Label)
	if err != nil {
		return nil, err
	}
	if _, isNew, err := w.KeepPlan(ctx, b, plan, []byte(twoTones)); err != nil || !isNew {
		return nil, fmt.Errorf("a plan that is new: %t, %w", isNew, err)
	}
	if err := w.Store.Close(); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
})

// simulated is a workshop with a simulated bench, calibrated, and a board.
func simulated(t *testing.T, who talk.Person) *Workshop {
	t.Helper()
	if testing.Short() {
		t.Skip("calibrates a bench and accepts boards")
	}
	raw, err := simulatedOnce()
	path := filepath.Join(t.TempDir(), "s.db")
	if err == nil {
		err = os.WriteFile(path, raw, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	w, err := at(t.Context(), path, who)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Store.Close() })
	return w
}

// A sitting that was begun at a terminal is gone on with by another face, which
// asks for nothing that was done; both talk to the same use case.
func TestSittingGoesFromOneFaceToAnother(t *testing.T) {
	w := simulated(t, talk.Nobody{})
	r := AcceptRequest{Board: "tin"}
	// The bench's check, the first step, and then q at the second.
	w.Person = terminal.New(strings.NewReader("\n\nq\n"), io.Discard, io.Discard, terminal.Options{})
	if got, err := w.Accept(t.Context(), r); got != nil || !errors.Is(err, talk.ErrStopped) && KindOf(err) != Unmeasured || err == nil {
		t.Fatalf("%+v, %v", got, err)
	}
	who := &talk.Script{Answers: []string{"", "", ""}} // go on, the check, the second step
	w.Person = who
	got, err := w.Accept(t.Context(), r)
	if err != nil || got.Run.Verdict != verdict.Pass || got.Run.ID == "" {
		t.Fatal(err)
	}
	if err := who.Left(); err != nil {
		t.Error(err)
	}
	read := 0
	for _, e := range who.Told() {
		if step, ok := e.(talk.StepRead); ok {
			read += len(step.Readings)
		}
	}
	if want := len(got.Run.Readings) - 2; read != want { // but for the bench's own drift
		t.Errorf("%d readings were told as they were made, want %d", read, want)
	}
	var asked []string
	for _, q := range who.Asked() {
		asked = append(asked, string(q.Kind)+": "+q.Prompt)
	}
	said := strings.Join(asked, "\n")
	if !strings.HasPrefix(said, "choose: a sitting of ") || strings.Contains(said, "plug it in") || !strings.Contains(said, "do: press the switch") {
		t.Errorf("it asked\n%s", said)
	}
	kept, err := w.Run(t.Context(), got.Run.ID)
	if err != nil || len(kept.Run.Takes) != 3 || kept.Plan.Name != "short" {
		t.Errorf("kept %d takes of plan %q, %v", len(kept.Run.Takes), kept.Plan.Name, err)
	}
}

// Every question of an acceptance, a calibration and a measurement can be
// answered by a flag: with nobody there none is left open.
func TestNobodyNeedBeThere(t *testing.T) {
	w := simulated(t, talk.Nobody{})
	got, err := w.Accept(t.Context(), AcceptRequest{Board: "tin", Use: Use{BenchUse: BenchUse{Simulation: Simulation{Simulate: "flipped-split"}}}})
	if err != nil || got.Run.Verdict != verdict.Fail {
		t.Errorf("a faulty board: %v", err)
	}
	m, err := w.Measure(t.Context(), MeasureRequest{Of: OfTone, Patch: []calibration.Patching{{Output: "A", Input: 1}}, LevelDBu: -10})
	if err != nil || !m.OfTheBoard() || !m.Simulated || m.Profile == "" {
		t.Errorf("a measurement: %v", err)
	}
}

// The second holder of a bench is told who has it before anything is asked.
func TestSecondHolderIsTold(t *testing.T) {
	first := simulated(t, talk.Nobody{})
	bench, err := first.ChooseBench(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	_, letGo, err := first.open(bench, Simulation{})
	if err != nil {
		t.Fatal(err)
	}
	second := *first
	who := &talk.Script{}
	second.Person = who
	_, err = second.Accept(t.Context(), AcceptRequest{Board: "tin"})
	if KindOf(err) != Unmeasured || !strings.Contains(err.Error(), "in use by process "+strconv.Itoa(os.Getpid())) || !strings.Contains(err.Error(), "'boardproof a test', since ") {
		t.Errorf("%v", err)
	}
	var inUse *InUse
	if !errors.As(err, &inUse) || inUse.By.PID != os.Getpid() || inUse.By.Doing != "a test" || time.Since(inUse.By.Since) > time.Hour {
		t.Errorf("in use: %+v", inUse)
	}
	if len(who.Asked()) > 0 {
		t.Errorf("it was asked %+v", who.Asked())
	}
	if err := letGo(); err != nil {
		t.Fatal(err)
	}
	_, letGo, err = second.open(bench, Simulation{})
	if err != nil {
		t.Fatalf("once it was let go: %v", err)
	}
	if err := letGo(); err != nil {
		t.Fatal(err)
	}
}

// What a workshop does knows no face: no flags, no terminal, no paper, no page.
func TestNoFaceIsImported(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range f.Imports {
			for _, face := range []string{"cobra", "pflag", "/internal/terminal", "/internal/report", "/internal/page", "x/term", "net/http"} {
				if strings.Contains(i.Path.Value, face) {
					t.Errorf("%s imports %s", file, i.Path.Value)
				}
			}
		}
	}
}

// A form is told which of its fields is wrong, and the command line names its
// flag, in the same words.
func TestWhatIsWrongNamesItsField(t *testing.T) {
	var got *Error
	_, err := (&Workshop{}).Accept(t.Context(), AcceptRequest{Use: Use{Repeats: -1}})
	if !errors.As(err, &got) || got.Kind != Invalid || got.Field != "repeats" || got.Reason() != "-1 is outside 1 to 100" || err.Error() != "--repeats -1 is outside 1 to 100" {
		t.Errorf("%+v, %v", got, err)
	}
}
