package terminal

import (
	"context"
	"errors"
	"fmt"

	"github.com/schollz/progressbar/v3"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// Tell shows what happened.
func (t *Terminal) Tell(_ context.Context, e talk.Event) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch e := e.(type) {
	case talk.StepRead:
		// All steps are shown in one table, at the end.
	case talk.TakeBegun:
		t.beginTake(e)
	case talk.TakeRunning:
		t.take.running(e)
	case talk.TakeEnded:
		t.endTake()
	case talk.SilenceRead:
		t.keepError(t.silence(e))
	case talk.HumRead:
		t.keepError(t.hum(e))
	case talk.Working:
		t.work(e)
	case talk.Remark:
		t.remark(e)
	case talk.NotPassed:
		t.wrapped("", e.String()+": "+report.Summary(e.Readings))
	case talk.MeterRead:
		fmt.Fprintf(t.prompts, "  %s\n", e)
	case talk.StoreBusy:
		fmt.Fprintln(t.prompts, e)
	default:
		t.wrapped("", e.String())
	}
}

func (t *Terminal) keepError(err error) {
	if err == nil {
		return
	}
	t.failed = errors.Join(t.failed, err)
	if t.Fail != nil {
		t.Fail(err)
	}
}

func (t *Terminal) remark(r talk.Remark) {
	switch r.Severity {
	case talk.Note:
		report.Wrap(report.Seen{To: t.results}, t.Columns, "note: ", r.Text)
	case talk.Warning:
		t.wrapped("warning: ", r.Text)
	default:
		t.wrapped("", r.String())
	}
}

// silence shows one silence of a hum hunt and what the hunt says so far.
func (t *Terminal) silence(e talk.SilenceRead) error {
	if err := report.HuntSilence(t.results, t.Columns, e.N, e.Condition, e.Why, e.Readings, e.Changes); err != nil {
		return err
	}
	if e.Says != "" {
		report.Wrap(report.Seen{To: t.results}, t.Columns, "says: ", e.Says)
	}
	_, err := fmt.Fprintln(t.results)
	return err
}

// takeBar shows how far a take is.
type takeBar struct {
	label string
	bar   *progressbar.ProgressBar
}

// barSteps is how finely a bar shows how far a take is.
const barSteps = 1000

// beginTake begins a bar with the inputs' peaks on a terminal, and is one line
// elsewhere.
func (t *Terminal) beginTake(e talk.TakeBegun) {
	label := db.Visible("  " + e.String())
	if !t.isTerm {
		fmt.Fprintln(t.prompts, label)
		return
	}
	t.take = &takeBar{label, progressbar.NewOptions(barSteps, progressbar.OptionSetWriter(t.prompts), progressbar.OptionSetDescription(label),
		progressbar.OptionSetWidth(24), progressbar.OptionSetPredictTime(false), progressbar.OptionClearOnFinish())}
}

func (b *takeBar) running(e talk.TakeRunning) {
	if b != nil && e.OfSeconds > 0 {
		b.bar.Describe(b.label + e.Peaks())
		b.bar.Set(min(barSteps, int(e.Seconds/e.OfSeconds*barSteps))) //nolint:errcheck // a bar that cannot be drawn stops nothing
	}
}

func (t *Terminal) endTake() {
	if t.take != nil {
		t.take.bar.Finish() //nolint:errcheck // as above
		fmt.Fprintln(t.prompts, t.take.label+" done")
	}
	t.take = nil
}
