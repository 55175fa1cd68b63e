package wavtake

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"boardproof/capture"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// keptS is how much is kept of the recording before and after the signal, in
// seconds, where the file has it.
const keptS = 0.05

// leastPPM is the clock error under which samples are left as they were
// recorded. It moves the end of a minute by 3 µs.
const leastPPM = 0.05

// mostSamples is how many samples, of all channels that are read, are taken
// into memory: 17 million are three minutes of two channels at 48 kHz, several
// times the longest signal.
const mostSamples = 1 << 24

// Wavtake is a recording that exists already. Its samples are read when they
// are asked for.
type Wavtake struct {
	path     string
	modified time.Time
	header   *wavfile.Header
}

var _ capture.Instrument = (*Wavtake)(nil)

// Open reads what the recording at path says of itself.
func Open(path string) (*Wavtake, error) {
	f, err := wavfile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	h, err := wavfile.ReadHeader(f)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("reading a recording: %w", err)
	}
	if h.RateHz < testsignals.MinRateHz || h.RateHz > testsignals.MaxRateHz {
		return nil, fmt.Errorf("reading %s: recorded at %d Hz, %d to %d Hz can be measured; record again at 48000 Hz",
			path, h.RateHz, testsignals.MinRateHz, testsignals.MaxRateHz)
	}
	return &Wavtake{path: path, modified: info.ModTime().UTC(), header: h}, nil
}

// Describe names the file as the device. It has no outputs: what was played
// was played elsewhere.
func (w *Wavtake) Describe() capture.Description {
	return capture.Description{Kind: "wavtake", Device: w.path, RateHz: w.header.RateHz, Inputs: w.header.Channels}
}

// Spec returns the parameters of a signal that travel in the file itself, or
// wavfile.ErrNoSpec. Recorders do not write them; files that boardproof
// exported have them.
func (w *Wavtake) Spec() (testsignals.Spec, error) { return wavfile.DecodeSpec(w.header.Chunks) }

// Record returns the part of the recording that holds req.Signal, with the
// recorder's clock error removed and told in Take.ClockError. Inputs are the
// file's channels, from 1; Outputs are not looked at. Started is when the file
// was last written.
//
// Samples are left untouched, though the error is told all the same, where it
// is under leastPPM or under its own standard uncertainty.
func (w *Wavtake) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	take, err := w.record(ctx, req)
	if err != nil {
		return nil, fmt.Errorf("finding the signal in %s: %w", w.path, err)
	}
	return take, nil
}

func (w *Wavtake) record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if req.Signal == nil {
		return nil, errors.New("the signal that was played is not known")
	}
	if req.Signal.RateHz != w.header.RateHz {
		return nil, fmt.Errorf("it was recorded at %d Hz and the signal played at %d Hz: record at %d Hz",
			w.header.RateHz, req.Signal.RateHz, req.Signal.RateHz)
	}
	take, err := w.Whole(req.Inputs)
	if err != nil {
		return nil, err
	}
	take.Signal, take.Outputs, take.Patch, take.State = req.Signal.Spec, slices.Clone(req.Outputs), req.Patch, req.State
	take.Conditions = slices.Clone(req.Conditions)
	proof, err := capture.Check(take, req.Signal, capture.Expect{Clocks: capture.TwoClocks})
	if err != nil {
		return nil, err
	}
	report(req, proof, 0)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := cut(take, req.Signal, proof); err != nil {
		return nil, err
	}
	report(req, proof, req.Signal.Seconds())
	return take, nil
}

func report(req capture.Request, proof *capture.Proof, seconds float64) {
	if req.Progress == nil {
		return
	}
	p := capture.Progress{Seconds: seconds, OfSeconds: req.Signal.Seconds()}
	for _, c := range proof.Channels {
		p.PeakDBFS = append(p.PeakDBFS, c.PeakDBFS)
	}
	req.Progress(p)
}

// Whole returns the channels inputs of the recording, counted from 1, from
// its first frame to its last, as a take of which nothing is known: what
// measuring a silence needs, in which no signal was played.
func (w *Wavtake) Whole(inputs []int) (*capture.Take, error) {
	if len(inputs) == 0 {
		return nil, errors.New("no input channel was asked for")
	}
	take := &capture.Take{RateHz: w.header.RateHz, Inputs: slices.Clone(inputs), Started: w.modified, Instrument: w.Describe()}
	for _, c := range inputs {
		if c < 1 || c > w.header.Channels {
			return nil, fmt.Errorf("input channel %d does not exist: %s has %d", c, w.path, w.header.Channels)
		}
	}
	if err := checkLength(w.header, len(inputs)); err != nil {
		return nil, fmt.Errorf("reading %s: %w", w.path, err)
	}
	f, err := wavfile.Open(w.path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if take.Samples, err = w.header.Samples(f, inputs); err != nil {
		return nil, fmt.Errorf("reading %s: %w", w.path, err)
	}
	return take, nil
}

// checkLength refuses a recording of which channels do not fit into memory.
func checkLength(h *wavfile.Header, channels int) error {
	if h.Frames <= mostSamples/channels {
		return nil
	}
	rate := float64(h.RateHz)
	return fmt.Errorf("it is %.0f s long, %.0f s of %d channels at %d Hz can be read: cut it to the signal",
		float64(h.Frames)/rate, mostSamples/rate/float64(channels), channels, h.RateHz)
}

// cut trims take to the signal and removes the clock error. A file that ends
// with the signal it was played from lacks a few frames for the latency, and
// one that was trimmed to it by hand may lack some at the start. What nothing
// is read from, the rise of the run-in and the silence after the last mark,
// is taken as zero where it is missing.
func cut(take *capture.Take, sig *testsignals.Signal, proof *capture.Proof) error {
	rate, have := float64(take.RateHz), float64(len(take.Samples[0]))
	// The channel that heard it first must have all of it.
	first := proof.OffsetFrames
	for _, c := range proof.Channels {
		if c.Problem == "" {
			first = math.Min(first, c.OffsetFrames)
		}
	}
	stretch := 1.0
	if ppm := proof.ClockError.PPM; math.Abs(ppm) >= leastPPM && math.Abs(ppm) >= proof.ClockError.StdPPM {
		stretch = 1 + ppm*1e-6
	}
	if first+stretch*float64(sig.RunInFlat.Start) < 0 {
		return fmt.Errorf("the recording begins %.2f s after the signal did: start the recorder first", -first/rate)
	}
	last := proof.OffsetFrames + stretch*float64(sig.Frames)
	if proof.OffsetFrames+stretch*float64(sig.Marks[3].End) > have {
		return fmt.Errorf("the recording ends %.2f s before the signal does: let the recorder run on", (last-have)/rate)
	}
	clock := proof.ClockError
	bent := bendOf(&clock, sig)
	kept := keptS * rate
	start := math.Floor(math.Min(first, math.Max(first-kept, 0)))
	end := math.Max(last, math.Min(last+kept, have))
	frames := int(math.Ceil((end - start) / stretch))
	for c, x := range take.Samples {
		if stretch == 1 && bent.perFrame == 0 {
			take.Samples[c] = section(x, int(start), frames)
		} else {
			take.Samples[c] = resample(x, int(start), frames, func(n float64) float64 {
				return stretch*n + bent.at(n-(first-start)/stretch)
			})
		}
	}
	take.ClockError = &clock
	return nil
}

// bend is a clock that drifts at a constant rate: in recorded frames, what is
// to be added to the straight line through the middles of both pairs of marks.
type bend struct{ perFrame, from, to float64 }

// at returns it for a frame of the signal.
func (b bend) at(n float64) float64 { return b.perFrame * (n - b.from) * (n - b.to) }

// unevenShare is what part of the bend is not known: a clock does not drift
// evenly. One that warms up with a time constant of half the take bends by 8 %
// less than its rates at both ends say.
const unevenShare = 0.08

// bendOf returns the bend to be removed, none where the drift is not twice its
// standard uncertainty, and tells in clock what is left.
func bendOf(clock *capture.ClockError, sig *testsignals.Signal) bend {
	m := sig.Marks
	b := bend{from: float64(m[0].Start+m[1].Start) / 2, to: float64(m[2].Start+m[3].Start) / 2}
	// A rate that changes by d over a length M is off the line by d·M/8 in the
	// middle.
	middleS := 1e-6 * (b.to - b.from) / 8 / float64(sig.RateHz)
	clock.MiddleStdS = middleS * clock.DriftStdPPM
	if math.Abs(clock.DriftPPM) < 2*clock.DriftStdPPM {
		clock.MiddleStdS = middleS * math.Hypot(clock.DriftStdPPM, clock.DriftPPM)
		return b
	}
	clock.MiddleStdS = math.Hypot(clock.MiddleStdS, unevenShare*middleS*clock.DriftPPM)
	b.perFrame = 1e-6 * clock.DriftPPM / (2 * (b.to - b.from))
	return b
}

// section returns frames of x from start on, zero outside x.
func section(x []float64, start, frames int) []float64 {
	y := make([]float64, frames)
	from := min(max(start, 0), len(x))
	copy(y[from-start:], x[from:])
	return y
}
