package main

import (
	"context"
	"io"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"boardproof/db"
)

// slowAfter is how long a command may take before it shows what it is at.
const slowAfter = 2 * time.Second

// waiting shows what a command that takes long is at, and how far.
type waiting struct {
	out   io.Writer
	mu    sync.Mutex
	shown bool
	doing string
	done  int64
	of    int64 // 0: not known
	bar   *progressbar.ProgressBar
}

// slow gives what shows on a terminal what a command that takes long is at,
// and what ends it. A command that cannot tell how far it is need not.
func (a *app) slow(doing string) (progress db.Progress, end func()) {
	t := a.operator(context.Background())
	if !t.isTerm {
		return nil, func() {}
	}
	w := &waiting{out: t.out, doing: doing}
	timer := time.AfterFunc(slowAfter, w.show)
	return w.tell, func() {
		timer.Stop()
		w.end()
	}
}

func (w *waiting) show() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.shown = true
	w.draw()
}

func (w *waiting) tell(doing string, done, of int64) {
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

func (w *waiting) draw() {
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

func (w *waiting) finish() {
	if w.bar != nil {
		w.bar.Finish() //nolint:errcheck // as above
	}
	w.bar = nil
}

func (w *waiting) end() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.finish()
	w.shown = false
}
