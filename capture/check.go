package capture

import (
	"cmp"
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

// checkMarks finds the marks in each channel, proves the count of samples
// with all of them, and then reads the levels.
func (p *Proof) checkMarks(take *Take, sig *testsignals.Signal, clocks Clocks) error {
	search := newMatched(take.RateHz)
	fits := make([]*markFit, len(take.Samples))
	for c, x := range take.Samples {
		ch := &p.Channels[c]
		if ch.Problem != "" {
			continue
		}
		coarse, ok := search.findMarks(x, sig.Layout, take.RateHz)
		if !ok {
			ch.fail(notFound(ch.PeakDBFS, clocks))
			continue
		}
		if coarse.again > 0 && clocks == TwoClocks {
			return twice(sig, coarse, ch.Input)
		}
		fit := fitMarks(x, coarse.at, take.RateHz)
		ch.MarkSNRDB = fit.snrDB
		if fit.snrDB < leastMarkSNRDB {
			ch.fail(NoSignal, fmt.Sprintf("no signal: timing marks only %.1f dB over noise and change", fit.snrDB))
			continue
		}
		fits[c] = &fit
	}
	if err := p.checkUsable(); err != nil {
		return err
	}
	s := combine(fits, sig.Layout)
	lost := s.prove(p, clocks)
	if err := join(lost, p.checkRepeats(take, sig, fits)); err != nil {
		// A codec smears the marks, and is then the reason.
		p.setOffsets(fits, sig)
		return cmp.Or(p.checkLossy(take, sig), err)
	}
	p.setOffsets(fits, sig)
	for c, x := range take.Samples {
		p.Channels[c].checkRunIn(x, p.offset(c), p.ClockError.PPM, fits[c], sig)
	}
	p.checkSteps(take, sig)
	return p.checkSilence(take, sig)
}

// twice refuses a file of which nobody can say which part is meant.
func twice(sig *testsignals.Signal, found marksFound, input int) error {
	seconds := func(mark float64) float64 {
		return math.Max(0, mark-float64(sig.Marks[0].Start)) / float64(sig.RateHz)
	}
	return &BadTake{Fault: WrongRecording, Input: input, Reason: fmt.Sprintf("wrong recording: it holds the signal twice, from %.1f s and from %.1f s on: cut it to the one that is meant",
		seconds(found.at[0]), seconds(found.again))}
}

// somethingDBFS is the peak from which a recording holds more than a
// recorder's noise: common practice, no source.
const somethingDBFS = -60.0

// notFound is the problem of a channel without marks.
func notFound(peakDBFS float64, clocks Clocks) (Fault, string) {
	switch {
	case peakDBFS < somethingDBFS:
		return NoSignal, fmt.Sprintf("no signal: timing marks not found, peak %.1f dBFS; a lead is missing, or the output is dead", peakDBFS)
	case clocks == TwoClocks:
		return WrongRecording, fmt.Sprintf("wrong recording: it holds sound, peak %.1f dBFS, but not the timing marks of this signal; check which recording belongs to which signal", peakDBFS)
	}
	return NoSignal, fmt.Sprintf("no signal: timing marks not found; what arrives, peak %.1f dBFS, is not what was played: check the patch", peakDBFS)
}

// checkUsable reports the first channel's Problem where every channel has one.
func (p *Proof) checkUsable() error {
	for _, c := range p.Channels {
		if c.Problem == "" {
			return nil
		}
	}
	first := p.Channels[0]
	return &BadTake{Fault: first.Fault, Reason: first.Problem, Input: first.Input}
}

// setOffsets refers the marks' arrival to the signal's frame 0.
func (p *Proof) setOffsets(fits []*markFit, sig *testsignals.Signal) {
	clock := p.ClockError.PPM * 1e-6
	best := math.Inf(-1)
	weightedAt := markWeightedAt(sig.RateHz)
	for c, f := range fits {
		if f == nil {
			continue
		}
		ch := &p.Channels[c]
		var centre, played float64
		for k, at := range f.at {
			centre += at / 4
			played += float64(sig.Marks[k].Start) / 4
		}
		ch.OffsetFrames = centre - played - clock*(played+weightedAt)
		// The board's own response moves the point that counts a little.
		ch.OffsetStdFrames = math.Hypot(f.commonStd, math.Hypot(p.ClockError.StdPPM*1e-6*played, 0.1*clock*weightedAt))
		ratio := (f.gain[2] + f.gain[3]) / (f.gain[0] + f.gain[1])
		ch.MarkChangeDB = 20 * math.Log10(math.Abs(ratio))
		ch.MarkChangeStdDB = 20 / math.Ln10 * f.gainStd
		if ch.MarkSNRDB > best {
			best = ch.MarkSNRDB
			p.OffsetFrames, p.OffsetStdFrames = ch.OffsetFrames, ch.OffsetStdFrames
		}
	}
}

// markWeightedAt returns the frame of a mark that counts when its arrival is
// found: a stretched mark is found late by the stretch times this. It is the
// mean time of the mark's slope squared, since timing sees the slope.
func markWeightedAt(rateHz int) float64 {
	mark := testsignals.Mark(rateHz)
	var moment, sum float64
	for i := 1; i < len(mark); i++ {
		slope := sq(complex(mark[i]-mark[i-1], 0))
		moment += slope * (float64(i) - 0.5)
		sum += slope
	}
	return moment / sum
}

// offset returns where channel c's signal begins, or the take's where the
// channel has none.
func (p *Proof) offset(c int) float64 {
	if p.Channels[c].Problem != "" {
		return p.OffsetFrames
	}
	return p.Channels[c].OffsetFrames
}

// checkRunIn reads the run-in tone. It is quieter than the marks, and where it
// is missing beside them something holds quiet signals back.
func (c *ChannelProof) checkRunIn(x []float64, offset, clockPPM float64, fit *markFit, sig *testsignals.Signal) {
	stretch := 1 + clockPPM*1e-6
	at := func(frame int) int { return int(math.Round(offset + stretch*float64(frame))) }
	omega := 2 * math.Pi * testsignals.RunInHz / float64(sig.RateHz) / stretch
	c.RunInDBFS = dbfs(toneAmplitude(part(x, at(sig.RunInFlat.Start), at(sig.RunInFlat.End)), omega))
	if fit == nil {
		return
	}
	expected := dbfs(fit.level) + testsignals.MarkBelowDB - testsignals.RunInBelowDB
	if c.RunInDBFS < expected-runInBelowDB {
		c.fail(NoSignal, fmt.Sprintf("no signal: run-in tone at %.1f dBFS, the marks promise %.1f dBFS", c.RunInDBFS, expected))
	}
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
