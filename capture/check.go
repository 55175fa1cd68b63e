package capture

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"boardproof/testsignals"
)

// Bounds that a take must keep.
const (
	// spacingTolerance is how far, in frames, marks in one clock may be off
	// beside their own uncertainty.
	spacingTolerance = 0.05
	// coverage is how many standard uncertainties a deviation must exceed
	// before it is believed: once in 16,000 good takes.
	coverage = 4.0
	// maxClockPPM is the largest clock error of a recorder in order.
	maxClockPPM = 300.0
	// leastMarkSNRDB is under what marks are no signal.
	leastMarkSNRDB = 6.0
	// runInBelowDB is how far the run-in may be under what the marks promise.
	runInBelowDB = 20.0
	zeroDBFS     = -300.0
)

// Check decides whether take proves itself: marks as far apart as sig was
// played, nothing clipped, nothing stuck, enough level. sig may be nil with
// want.NoSignal.
//
// The error is a *BadTake where the take must be thrown away, and something
// else where the arguments do not fit together; the Proof is returned beside
// a *BadTake, as far as it got. A channel without a signal is a Problem of
// that channel; only a take with no usable channel is bad for it.
//
// Marks at 20 dB over the noise in their band are enough in one clock. With
// TwoClocks a lost frame and a clock that is off are told apart by the
// distance within the pairs, which loss between the pairs does not change;
// where the noise is too high for that, the take is "not proved".
func Check(take *Take, sig *testsignals.Signal, want Expect) (*Proof, error) {
	if err := checkArguments(take, sig, want); err != nil {
		return nil, fmt.Errorf("checking a take: %w", err)
	}
	p := &Proof{Channels: make([]ChannelProof, len(take.Samples))}
	var bad error
	for c, x := range take.Samples {
		p.Channels[c].Input = inputOf(take, c)
		bad = errors.Join(bad, p.Channels[c].checkSamples(x, take.RateHz))
	}
	if bad != nil {
		return p, firstBad(bad)
	}
	if want.NoSignal {
		for c, x := range take.Samples {
			p.Channels[c].checkToggles(x, stepOf(x))
		}
		if err := p.checkRepeats(take, nil, nil); err != nil {
			return p, err
		}
	} else if err := p.checkMarks(take, sig, want.Clocks); err != nil {
		return p, err
	}
	if err := p.checkLossy(take, sig); err != nil {
		return p, err
	}
	return p, p.checkUsable()
}

func checkArguments(take *Take, sig *testsignals.Signal, want Expect) error {
	if take == nil || len(take.Samples) == 0 || len(take.Samples[0]) == 0 {
		return errors.New("the take holds no samples")
	}
	for _, x := range take.Samples {
		if len(x) != len(take.Samples[0]) {
			return errors.New("the take's channels differ in length")
		}
	}
	if take.RateHz < testsignals.MinRateHz || take.RateHz > testsignals.MaxRateHz {
		return fmt.Errorf("the take's rate of %d Hz is outside %d to %d Hz", take.RateHz, testsignals.MinRateHz, testsignals.MaxRateHz)
	}
	if want.NoSignal {
		return nil
	}
	if sig == nil {
		return errors.New("the signal that was played is not known")
	}
	if sig.RateHz != take.RateHz {
		return fmt.Errorf("the take was made at %d Hz, the signal for %d Hz", take.RateHz, sig.RateHz)
	}
	return nil
}

func inputOf(take *Take, c int) int {
	if c < len(take.Inputs) {
		return take.Inputs[c]
	}
	return c + 1
}

// firstBad returns the first of joined errors.
func firstBad(joined error) error {
	var b *BadTake
	errors.As(joined, &b)
	return b
}

// checkSamples looks for what no signal does: flat tops, frozen samples.
func (c *ChannelProof) checkSamples(x []float64, rateHz int) error {
	if i := slices.IndexFunc(x, notAudio); i >= 0 {
		return &BadTake{Fault: Broken, Input: c.Input, Reason: fmt.Sprintf("broken: frame %d is %g", i, x[i])}
	}
	lo, hi, _ := extent(x)
	c.PeakDBFS = dbfs(math.Max(math.Abs(lo), math.Abs(hi)))
	if allEqual(x) {
		c.StuckFrames = len(x)
		c.fail(NoSignal, "no signal: stuck, every sample is the same")
		return nil
	}
	seconds := func(frame int) float64 { return float64(frame) / float64(rateHz) }
	if clip := findClipped(x); clip.frames > 0 {
		c.ClippedFrames = clip.frames
		return &BadTake{Fault: Clipped, Input: c.Input, Reason: fmt.Sprintf("clipped: %d frames at %.2f dBFS, the first at %.3f s; lower the level",
			clip.frames, dbfs(clip.level), seconds(clip.first))}
	}
	if frames, first := findStuck(x, rateHz); frames > 0 {
		c.StuckFrames = frames
		return &BadTake{Fault: Stuck, Input: c.Input, Reason: fmt.Sprintf("stuck: %d frames hold one value, the first at %.3f s; samples were lost on the way",
			frames, seconds(first))}
	}
	return nil
}

// notAudio is true for what no converter gives: NaN, and more than +60 dBFS.
func notAudio(v float64) bool { return !(math.Abs(v) <= 1000) }

func dbfs(amplitude float64) float64 {
	return math.Max(20*math.Log10(amplitude), zeroDBFS)
}

// part returns the frames of x from start to end that exist.
func part(x []float64, start, end int) []float64 {
	start = min(max(start, 0), len(x))
	return x[start:min(max(end, start), len(x))]
}

// checkSilence refuses a silence in which nothing moves: its noise cannot be
// measured.
func (p *Proof) checkSilence(take *Take, sig *testsignals.Signal) error {
	if sig.Kind != testsignals.Silence {
		return p.checkUsable()
	}
	for c, x := range take.Samples {
		start := int(p.offset(c)) + sig.Body.Start
		body := part(x, start, start+sig.Body.Len())
		ch := &p.Channels[c]
		if ch.Problem == "" && allEqual(body) {
			ch.StuckFrames = len(body)
			ch.fail(Stuck, "stuck: every sample of the silence is the same, its noise cannot be measured")
		}
		ch.checkToggles(body, stepOf(x))
	}
	return p.checkUsable()
}
