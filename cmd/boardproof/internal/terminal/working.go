package terminal

import (
	"io"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"boardproof/cmd/boardproof/internal/talk"
)

// slowAfter is how long a command may take before it shows what it is at.
const slowAfter = 2 * time.Second

// working shows what a command that takes long is at, and how far.
type working struct {
	out   io.Writer
	timer *time.Timer
	mu    sync.Mutex
	shown bool
	doing string
	done  int64
	of    int64 // 0: not known
	bar   *progressbar.ProgressBar
}

// work shows on a terminal what a command that takes long is at.
func (t *Terminal) work(e talk.Working) {
	switch {
	case !t.isTerm:
	case e.Ended && t.working != nil:
		t.working.timer.Stop()
		t.working.end()
		t.working = nil
	case e.Ended:
	case t.working == nil:
		t.working = &working{out: t.prompts, doing: e.Doing, done: e.Done, of: e.Of}
		t.working.timer = time.AfterFunc(slowAfter, t.working.show)
	default:
		t.working.tell(e.Doing, e.Done, e.Of)
	}
}

func (w *working) show() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.shown = true
	w.draw()
}

func (w *working) tell(doing string, done, of int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if doing != w.doing || of != w.of {
		w.finish()
	}
	w.doing, w.done, w.of = doing, done, of
	if w.shown {
		w.draw()
	}
}

func (w *working) draw() {
	first := w.bar == nil
	if first {
		most := w.of
		if most == 0 {
			most = -1 // a mark that turns, and the time
		}
		w.bar = progressbar.NewOptions64(most, progressbar.OptionSetWriter(w.out), progressbar.OptionSetDescription("  "+w.doing),
			progressbar.OptionSetWidth(24), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond),
			progressbar.OptionSpinnerCustom([]string{"|", "/", "-", "\\"}), progressbar.OptionSetElapsedTime(true))
	}
	w.bar.Set64(w.done) //nolint:errcheck // a bar that cannot be drawn stops nothing
	if first {
		w.bar.RenderBlank() //nolint:errcheck // as above
	}
}

func (w *working) finish() {
	if w.bar != nil {
		w.bar.Finish() //nolint:errcheck // as above
	}
	w.bar = nil
}

func (w *working) end() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.finish()
	w.shown = false
}
