package soundcard

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"boardproof/capture"

	"github.com/gordonklaus/portaudio"
)

const (
	// waitingS is how much can wait for its receiver.
	waitingS = 8.0
	// listenEvery is how often what came in is handed on.
	listenEvery = 50 * time.Millisecond
)

// Listen hands on what the inputs record; see capture.Listener. The outputs
// are silent. Conditions are what the operator does: there is nothing here to
// act on them.
func (sc *Soundcard) Listen(ctx context.Context, req capture.ListenRequest, each func(capture.Block) error) error {
	if err := sc.listen(ctx, req, each); err != nil {
		return fmt.Errorf("listening with audio device %q: %w", sc.desc.Device, err)
	}
	return nil
}

func (sc *Soundcard) listen(ctx context.Context, req capture.ListenRequest, each func(capture.Block) error) error {
	if sc.closed {
		return ErrClosed
	}
	if err := checkChannels("input", req.Inputs, sc.desc.Inputs); err != nil {
		return err
	}
	r := newRing(req.Inputs, int(waitingS*float64(sc.desc.RateHz)))
	st, err := sc.open(r)
	if err != nil {
		return err
	}
	if _, err := sc.timing(st); err != nil {
		return errors.Join(err, sc.end(st.Close))
	}
	if err := ask("start the stream", answerWithin, st.Start); err != nil {
		return errors.Join(fmt.Errorf("starting the stream: %w", sc.explain(err)), sc.end(st.Close))
	}
	err = handOn(ctx, r, each)
	return errors.Join(err, sc.end(st.Abort, st.Close))
}

// handOn gives each what comes in until ctx ends, each fails or nothing comes.
func handOn(ctx context.Context, r *ring, each func(capture.Block) error) error {
	tick := time.NewTicker(listenEvery)
	defer tick.Stop()
	w := watch{pos: &r.called, moved: time.Now()}
	lost := 0
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		if err := w.look(); err != nil {
			return err
		}
		full := r.full.Load()
		if block := r.take(); len(block) > 0 && len(block[0]) > 0 {
			if err := each(capture.Block{Samples: block, LostFrames: lost}); err != nil {
				return err
			}
			lost = 0
		}
		if full {
			lost = r.goOn()
		}
	}
}

// ring carries samples from the audio callback to one receiver without a lock.
// The callback alone writes written, the receiver alone read. A block that
// finds no room is left out, and so is all that comes after it until the
// receiver says goOn: so what was left out all lies after what waits.
type ring struct {
	inputs []int // from 0
	rows   [][]float32

	written, read atomic.Int64
	full          atomic.Bool
	lost          atomic.Int64
	// called counts frames, lost ones too.
	called atomic.Int64
}

func newRing(inputs []int, frames int) *ring {
	r := &ring{inputs: fromZero(inputs), rows: make([][]float32, len(inputs))}
	for i := range r.rows {
		r.rows[i] = make([]float32, frames)
	}
	return r
}

// One output is opened with the inputs, and stays silent: some hosts have no
// streams of inputs alone.
func (r *ring) channels() (outputs, inputs int) { return 1, highest(r.inputs) }

// process is the audio callback. It must neither allocate nor lock.
func (r *ring) process(in, out [][]float32, _ portaudio.StreamCallbackTimeInfo, _ portaudio.StreamCallbackFlags) {
	for _, ch := range out {
		clear(ch)
	}
	n := max(blockLen(in), blockLen(out))
	at := r.written.Load()
	if r.full.Load() || int(at-r.read.Load())+n > len(r.rows[0]) {
		r.lost.Add(int64(n))
		r.full.Store(true)
	} else {
		for i, c := range r.inputs {
			r.put(i, int(at), n, in[c])
		}
		r.written.Store(at + int64(n))
	}
	r.called.Add(int64(n))
	// See session.process.
	clear(in)
	clear(out)
}

// put writes n frames of x into a row; a host that has no buffer for the
// inputs passes none, which is silence.
func (r *ring) put(row, at, n int, x []float32) {
	dst := r.rows[row]
	from := at % len(dst)
	first := min(n, len(dst)-from)
	if len(x) < n {
		clear(dst[from : from+first])
		clear(dst[:n-first])
		return
	}
	copy(dst[from:from+first], x)
	copy(dst[:n-first], x[first:n])
}

// take returns what waits.
func (r *ring) take() [][]float64 {
	from, to := r.read.Load(), r.written.Load()
	out := make([][]float64, len(r.rows))
	for i, row := range r.rows {
		out[i] = make([]float64, to-from)
		for k := range out[i] {
			out[i][k] = float64(row[(from+int64(k))%int64(len(row))])
		}
	}
	r.read.Store(to)
	return out
}

// goOn lets the callback write again, once all that waited was taken, and
// returns how many frames were left out. A block that is left out meanwhile
// comes before any that is written after.
func (r *ring) goOn() int {
	r.full.Store(false)
	return int(min(r.lost.Swap(0), math.MaxInt32))
}
