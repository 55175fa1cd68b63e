package capture

import (
	"cmp"
	"fmt"
	"math"

	"boardproof/testsignals"
)

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
