package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
)

// WatchCaution is what to mind while cables are moved and hum is watched.
const WatchCaution = "turn amplifiers down before anything is plugged or unplugged; never lift a protective earth to cure hum: " +
	"isolate the signal with a transformer; what needs an open mains enclosure, supply or amplifier goes to a licensed technician"

// Hum is watched in windows of watchWindowS, read watchPerS times a second:
// long enough to tell a line from the hiss, short enough to move a cable by.
const (
	watchWindowS = 2.0
	watchPerS    = 4.0
	// clipsFrom is the sample value from which a peak may have been cut.
	clipsFrom = 0.999
)

// WatchBoard asks for the board and watches its hum as WatchHum does.
func (s *Sitting) WatchBoard(ctx context.Context, seconds float64) error {
	if err := s.ready(ctx, watchPrompt, WatchCaution); err != nil {
		return err
	}
	return s.WatchHum(ctx, seconds)
}

const watchPrompt = "connect the board's outputs to the inputs; its input as it is played, or as it hums"

// WatchHum listens until ctx ends, or for seconds where that is above 0, and
// tells each reading of the hum. Neither reading nor showing disturbs the
// recording: what comes in meanwhile waits.
func (s *Sitting) WatchHum(ctx context.Context, seconds float64) error {
	listener, ok := s.Instrument.(capture.Listener)
	if !ok {
		return fmt.Errorf("a bench of kind %s cannot listen", s.Instrument.Describe().Kind)
	}
	w := &watching{sitting: s, rateHz: s.Instrument.Describe().RateHz, seconds: seconds}
	req := capture.ListenRequest{Inputs: s.inputs(), Patch: capture.ToBoard, Conditions: func() []capture.Condition { return nil }}
	err := listener.Listen(ctx, req, func(b capture.Block) error { return w.add(ctx, b) })
	if errors.Is(err, errWatched) {
		return nil
	}
	if err != nil && ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return ctx.Err()
	}
	return err
}

var errWatched = errors.New("watched long enough")

// watching holds the last window of each input.
type watching struct {
	sitting *Sitting
	rateHz  int
	seconds float64
	rows    [][]float64
	// frames counts what came in, fresh what did since the last reading.
	frames, fresh, lost int
	hum                 hunt.Watch
}

func (w *watching) add(ctx context.Context, b capture.Block) error {
	if b.LostFrames > 0 {
		// A window with a gap in it would read a jump as hum.
		w.rows = nil
		w.lost += b.LostFrames
		w.frames += b.LostFrames
	}
	if w.rows == nil {
		w.rows = make([][]float64, len(b.Samples))
	}
	window := int(watchWindowS * float64(w.rateHz))
	for i, x := range b.Samples {
		w.rows[i] = append(w.rows[i], x...)
		if over := len(w.rows[i]) - window; over > 0 {
			w.rows[i] = append(w.rows[i][:0], w.rows[i][over:]...)
		}
	}
	w.frames += len(b.Samples[0])
	w.fresh += len(b.Samples[0])
	every := int(float64(w.rateHz) / watchPerS)
	if len(w.rows[0]) < window || w.fresh < every {
		return nil
	}
	w.fresh %= every
	if n := w.repeated(); n > 0 {
		w.rows = nil
		w.lost += n
		return nil
	}
	now, err := w.read()
	if err != nil {
		return fmt.Errorf("watching hum: %w", err)
	}
	w.sitting.Person.Tell(ctx, now)
	if w.seconds > 0 && now.AtS >= w.seconds {
		return errWatched
	}
	return nil
}

// repeated counts the frames of the window in whose place others came again.
func (w *watching) repeated() (frames int) {
	for _, x := range w.rows {
		n := 0
		for _, r := range capture.FindRepeated(x, nil, 0) {
			n += r.Frames
		}
		frames = max(frames, n)
	}
	return frames
}

func (w *watching) read() (talk.HumRead, error) {
	s := w.sitting
	take := &capture.Take{Samples: w.rows, RateHz: w.rateHz, Inputs: s.inputs(), Patch: capture.ToBoard, Instrument: s.Instrument.Describe(), MainsHz: s.MainsHz}
	rec, refused, err := calibration.Recording(take, nil, nil, s.Patching, s.Profile, s.Now())
	if err != nil {
		return talk.HumRead{}, err
	}
	readings, err := w.hum.Read(rec)
	if err != nil {
		return talk.HumRead{}, err
	}
	for i := range readings {
		if peakOf(w.rows[i]) >= clipsFrom {
			readings[i] = hunt.Reading{Output: readings[i].Output, LengthS: readings[i].LengthS, Reason: "the input clips: turn its gain down and calibrate again"}
		}
	}
	return talk.HumRead{AtS: float64(w.frames) / float64(w.rateHz), Readings: readings, LostFrames: w.lost, Refused: refused, Simulated: s.Instrument.Describe().Simulated}, nil
}

func peakOf(x []float64) float64 {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
	}
	return peak
}
