package capture

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"boardproof/testsignals"
)

const (
	// longestBlockS is longer than any block that an audio host works in. What
	// repeats for longer was put together from pieces.
	longestBlockS = 0.5
	// longestLagS is longer than all that a host holds. A file may have been
	// edited; live, what comes again after longer is the source's own.
	longestLagS = 2.0
)

// checkRepeats looks in every channel for what no converter gives: the same
// samples twice. sig and fits are nil where nothing was played.
func (p *Proof) checkRepeats(take *Take, sig *testsignals.Signal, fits []*markFit) error {
	var all []Repeated
	var replayed [][]Repeated
	for c, x := range take.Samples {
		var played []float64
		offset := 0
		if sig != nil && fits[c] != nil {
			played = sig.Samples
			offset = int(math.Round(fits[c].at[0])) - sig.Marks[0].Start
			if take.HostMissed {
				replayed = append(replayed, findReplayed(x, played, offset))
			}
		}
		for _, r := range findRepeated(x, played, offset, take.Instrument.Kind != fromFile) {
			if take.Instrument.Kind == fromFile || float64(r.Lag) <= longestLagS*float64(take.RateHz) {
				all = append(all, r)
			}
		}
	}
	all = append(all, merged(inAll(replayed))...)
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b Repeated) int { return a.Start - b.Start })
	all = apart(all)
	rate := float64(take.RateHz)
	first := all[0]
	for _, r := range all {
		if float64(r.Frames) > longestBlockS*rate {
			return &BadTake{Fault: Repeats, Reason: fmt.Sprintf("repeated samples: the %.2f s from %.2f s on are those from %.2f s on, sample for sample; the recording was put together from pieces, record it anew",
				float64(r.Frames)/rate, float64(r.Start)/rate, float64(r.Start-r.Lag)/rate)}
		}
	}
	p.RepeatedBlocks = blocks(all)
	what := "a block"
	if p.RepeatedBlocks > 1 {
		what = fmt.Sprintf("%d blocks", p.RepeatedBlocks)
	}
	return &BadTake{Fault: Repeats, Reason: fmt.Sprintf("repeated samples: the computer missed %s, the first of %d samples at %.3f s; %s",
		what, min(first.Frames, first.Lag), float64(first.Start)/rate, keepUp)}
}

// blocks counts how often a block came again: one may come more than twice.
func blocks(all []Repeated) (n int) {
	for _, r := range all {
		n += max(1, int(math.Round(float64(r.Frames)/float64(r.Lag))))
	}
	return n
}

// join makes one error of what the marks and the samples say: blocks that came
// twice explain marks that are off, and more than their distance does.
func join(marks, repeats error) error {
	var m, r *BadTake
	if !errors.As(repeats, &r) {
		return marks
	}
	if errors.As(marks, &m) && m.ByComputer() {
		return &BadTake{Fault: m.Fault, Input: m.Input, Reason: m.Reason + "; " + r.Reason[len(Repeats)+2:]}
	}
	return r
}
