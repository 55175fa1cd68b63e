package soundcard

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"boardproof/capture"

	"github.com/gordonklaus/portaudio"
)

const (
	// A recording goes on for the stream's own latency and this much, for
	// whatever else is in the way: sound servers, digital effects.
	marginS = 0.5
	// stallAfter is how long a device may go without a block. The longest
	// blocks in use are a fraction of a second.
	stallAfter = 3 * time.Second
	// stopWithin is how long a host may take to stop and close a stream. What
	// it still holds to be played is well under a second.
	stopWithin    = 3 * time.Second
	pollEvery     = 20 * time.Millisecond
	progressEvery = 200 * time.Millisecond
)

// Record plays the signal on the outputs and records the inputs, from the
// frame in which the signal's first frame was handed to the host. See
// capture.Instrument for what it returns. When the context ends the signal
// is faded out over 20 ms first.
func (sc *Soundcard) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	take, err := sc.record(ctx, req)
	if err != nil {
		return nil, fmt.Errorf("recording with audio device %q: %w", sc.desc.Device, err)
	}
	return take, nil
}

func (sc *Soundcard) record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	if sc.closed {
		return nil, ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("stopped before it began: %w", err)
	}
	if err := sc.check(req); err != nil {
		return nil, err
	}
	s := newSession(req.Signal.Samples, req.Outputs, req.Inputs, sc.desc.RateHz)
	st, err := sc.open(s)
	if err != nil {
		return nil, err
	}
	started, err := sc.run(ctx, st, s, req.Progress)
	if err != nil {
		return nil, err
	}
	return &capture.Take{
		Signal: req.Signal.Spec, Samples: s.samples(), RateHz: sc.desc.RateHz,
		Inputs: append([]int(nil), req.Inputs...), Outputs: append([]int(nil), req.Outputs...),
		Patch: req.Patch, State: req.State, Conditions: slices.Clone(req.Conditions), Started: started,
		Instrument: sc.desc, HostFlags: flagNames(portaudio.StreamCallbackFlags(s.flags.Load())), HostMissed: s.missed(),
	}, nil
}

// run starts the stream, waits for the take, and always closes the stream.
func (sc *Soundcard) run(ctx context.Context, st stream, s *session, progress func(capture.Progress)) (time.Time, error) {
	lag, err := sc.timing(st)
	if err != nil {
		sc.end(st.Close)
		return time.Time{}, err
	}
	s.allocate(int(math.Ceil((lag.round.Seconds() + marginS) * float64(sc.desc.RateHz))))
	started := time.Now().UTC()
	if err := ask("start the stream", answerWithin, st.Start); err != nil {
		sc.end(st.Close)
		return time.Time{}, fmt.Errorf("starting the stream: %w", sc.explain(err))
	}
	if err := sc.wait(ctx, s, lag, progress); err != nil {
		sc.end(st.Abort, st.Close)
		return time.Time{}, err
	}
	// Stop, not Abort: the host plays the silence that it still holds.
	if err := sc.end(st.Stop, st.Close); err != nil {
		return time.Time{}, fmt.Errorf("stopping the stream: %w", sc.explain(err))
	}
	return started, nil
}

// end does the last things to a stream in one request, whether or not the
// first of them fails, and returns the first error.
func (sc *Soundcard) end(steps ...func() error) error {
	return ask("stop", stopWithin, func() error {
		var first error
		for _, step := range steps {
			if err := step(); err != nil && first == nil {
				first = err
			}
		}
		return first
	})
}

// wait returns when all frames are in, the context has ended and the output
// is silent, or the device has stalled.
func (sc *Soundcard) wait(ctx context.Context, s *session, lag timing, progress func(capture.Progress)) error {
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	w := watch{pos: &s.pos, moved: time.Now()}
	shown, shownAt := 0, time.Now()
	for {
		select {
		case <-ctx.Done():
			sc.fadeOut(s, lag)
			return fmt.Errorf("stopped after %.1f s of %.1f s: %w", sc.seconds(w.last), sc.seconds(s.frames()), ctx.Err())
		case <-tick.C:
		}
		if err := w.look(); err != nil {
			return err
		}
		done := w.last >= s.frames()
		if progress != nil && (done || time.Since(shownAt) >= progressEvery) {
			progress(capture.Progress{
				Seconds: sc.seconds(min(w.last, s.frames())), OfSeconds: sc.seconds(s.frames()),
				PeakDBFS: s.peaksDBFS(shown, w.last),
			})
			shown, shownAt = w.last, time.Now()
		}
		if done {
			return nil
		}
	}
}

// watch notices when the callback no longer comes.
type watch struct {
	pos   *atomic.Int64
	last  int
	moved time.Time
}

func (w *watch) look() error {
	at := int(w.pos.Load())
	if at != w.last {
		w.last, w.moved = at, time.Now()
		return nil
	}
	if time.Since(w.moved) < stallAfter {
		return nil
	}
	return fmt.Errorf("%w: the device has sent nothing for %v; check its cable and power, then try again", ErrStalled, stallAfter)
}

// fadeOut has the callback fade to silence and waits until the silence has
// reached the output, or until it is plain that it will not.
func (sc *Soundcard) fadeOut(s *session, lag timing) {
	s.stop.Store(true)
	deadline := time.Now().Add(time.Second + lag.out)
	for !s.silent.Load() && time.Now().Before(deadline) {
		time.Sleep(pollEvery / 4)
	}
	quietFrom := s.pos.Load()
	played := quietFrom + int64(math.Ceil(lag.out.Seconds()*float64(sc.desc.RateHz)))
	for s.pos.Load() < played && time.Now().Before(deadline) {
		time.Sleep(pollEvery / 4)
	}
}

func (sc *Soundcard) seconds(frames int) float64 { return float64(frames) / float64(sc.desc.RateHz) }

// flagNames writes the host's flags as words, "" for none.
func flagNames(flags portaudio.StreamCallbackFlags) string {
	var names []string
	for _, f := range []struct {
		bit  portaudio.StreamCallbackFlags
		name string
	}{
		{portaudio.InputUnderflow, "input underflow"},
		{portaudio.InputOverflow, "input overflow"},
		{portaudio.OutputUnderflow, "output underflow"},
		{portaudio.OutputOverflow, "output overflow"},
	} {
		if flags&f.bit != 0 {
			names = append(names, f.name)
		}
	}
	return strings.Join(names, ", ")
}
