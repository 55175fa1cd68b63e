package procedure

import (
	"context"
	"errors"
	"fmt"
	"math"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
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

// HumNow is what the last window said.
type HumNow struct {
	// AtS is the end of the window, in seconds of listening.
	AtS float64
	// Readings are by output. One that cannot be read has a Reason.
	Readings []hunt.Reading
	// LostFrames counts all that the audio system left out so far.
	LostFrames int
	// Refused, where not "", says why levels are not absolute.
	Refused string
}

// WatchHum listens until ctx ends or show returns an error, and gives each
// reading of the hum to show. Neither reading nor showing disturbs the
// recording: what comes in meanwhile waits.
func (s *Sitting) WatchHum(ctx context.Context, show func(HumNow) error) error {
	listener, ok := s.Instrument.(capture.Listener)
	if !ok {
		return fmt.Errorf("a bench of kind %s cannot listen", s.Instrument.Describe().Kind)
	}
	w := &watching{sitting: s, rateHz: s.Instrument.Describe().RateHz, show: show}
	req := capture.ListenRequest{Inputs: s.inputs(), Patch: capture.ToBoard, Conditions: func() []capture.Condition { return nil }}
	err := listener.Listen(ctx, req, w.add)
	if err != nil && ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return ctx.Err()
	}
	return err
}

// watching holds the last window of each input.
type watching struct {
	sitting *Sitting
	rateHz  int
	show    func(HumNow) error
	rows    [][]float64
	// frames counts what came in, fresh what did since the last reading.
	frames, fresh, lost int
	hum                 hunt.Watch
}

func (w *watching) add(b capture.Block) error {
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
	return w.show(now)
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

func (w *watching) read() (HumNow, error) {
	s := w.sitting
	take := &capture.Take{Samples: w.rows, RateHz: w.rateHz, Inputs: s.inputs(), Patch: capture.ToBoard, Instrument: s.Instrument.Describe(), MainsHz: s.MainsHz}
	rec, refused, err := calibration.Recording(take, nil, nil, s.Patching, s.Profile, s.Now())
	if err != nil {
		return HumNow{}, err
	}
	readings, err := w.hum.Read(rec)
	if err != nil {
		return HumNow{}, err
	}
	for i := range readings {
		if peakOf(w.rows[i]) >= clipsFrom {
			readings[i] = hunt.Reading{Output: readings[i].Output, LengthS: readings[i].LengthS, Reason: "the input clips: turn its gain down and calibrate again"}
		}
	}
	return HumNow{AtS: float64(w.frames) / float64(w.rateHz), Readings: readings, LostFrames: w.lost, Refused: refused}, nil
}

func peakOf(x []float64) float64 {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
	}
	return peak
}

// HumHold keeps the lowest and the highest level of each group at each output
// since it was begun, in dBu (or in dB under full scale without a profile).
type HumHold struct {
	levels map[string]map[string]*[2]float64
}

// Add takes one reading of each output into the hold.
func (h *HumHold) Add(readings []hunt.Reading) {
	if h.levels == nil {
		h.levels = map[string]map[string]*[2]float64{}
	}
	for _, r := range readings {
		if r.Reason != "" {
			continue
		}
		if h.levels[r.Output] == nil {
			h.levels[r.Output] = map[string]*[2]float64{}
		}
		for _, g := range hunt.Groups() {
			v := LevelShown(r, r.Levels[g])
			held := h.levels[r.Output][g]
			if held == nil {
				held = &[2]float64{v, v}
				h.levels[r.Output][g] = held
			}
			held[0], held[1] = math.Min(held[0], v), math.Max(held[1], v)
		}
	}
}

// Of returns the lowest and highest level of a group at an output; ok is
// false where nothing was read yet.
func (h *HumHold) Of(output, group string) (best, worst float64, ok bool) {
	held := h.levels[output][group]
	if held == nil {
		return 0, 0, false
	}
	return held[0], held[1], true
}

// LevelShown is a level in dBu, or in dB under a full-scale sine where the
// reading is not in volts.
func LevelShown(r hunt.Reading, l hunt.Level) float64 {
	if r.InVolts {
		return analysis.DBu(math.Max(l.RMS.Value, leastShownV))
	}
	return analysis.DB(math.Max(l.RMS.Value, leastShownV) * math.Sqrt2)
}

// leastShownV stands for nothing at all, which has no level.
const leastShownV = 1e-10
