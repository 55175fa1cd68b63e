package analysis

import (
	"fmt"
	"math"
	"strings"

	"boardproof/testsignals"
)

// Event is something that happened to a steady tone.
type Event struct {
	// AtS is when it began, in seconds from the start of the tone.
	AtS       float64
	DurationS float64
	// ChangeDB is the level at its worst against the tone's own.
	ChangeDB float64
}

// A drop-out is a stretch in which the tone's level leaves its median by
// eventDB and by eventSigmas of its own scatter: common practice, no source.
const (
	eventDB     = 1.0
	eventSigmas = 8.0
	// Events nearer than this are one event.
	eventGapS = 0.02
)

// FindDropOuts finds where the level of a tone jumps, in blocks of two cycles. x
// is the steady part of a recorded tone of freqHz.
func FindDropOuts(x []float64, rateHz, freqHz float64) []Event {
	block := max(8, int(math.Round(2*rateHz/freqHz)))
	level := blockLevels(x, block, freqHz/rateHz)
	middle := medianOf(level)
	if middle == 0 {
		return nil
	}
	spread := make([]float64, len(level))
	for i, v := range level {
		spread[i] = math.Abs(v - middle)
	}
	// 1.4826 times the median deviation is the standard deviation of normal
	// noise.
	bar := math.Max(eventSigmas*1.4826*medianOf(spread), middle*(1-math.Pow(10, -eventDB/20)))
	var events []Event
	blockS := float64(block) / rateHz
	for i, v := range level {
		if math.Abs(v-middle) < bar {
			continue
		}
		at := float64(i) * blockS
		change := DB(math.Max(v, middle*1e-5) / middle)
		if n := len(events); n > 0 && at-events[n-1].AtS-events[n-1].DurationS < eventGapS {
			last := &events[n-1]
			last.DurationS = at + blockS - last.AtS
			if math.Abs(change) > math.Abs(last.ChangeDB) {
				last.ChangeDB = change
			}
			continue
		}
		events = append(events, Event{at, blockS, change})
	}
	return events
}

// blockLevels is the amplitude of the tone in each block; cycles is its
// frequency in cycles a frame.
func blockLevels(x []float64, block int, cycles float64) []float64 {
	level := make([]float64, 0, len(x)/block)
	for at := 0; at+block <= len(x); at += block {
		var sum complex128
		for i, v := range x[at : at+block] {
			sum += scale(v, cis(-2*math.Pi*cycles*float64(at+i)))
		}
		level = append(level, 2/float64(block)*math.Hypot(real(sum), imag(sum)))
	}
	return level
}

// FlexResult counts the drop-outs of each output while a steady tone played
// and the joints were flexed.
func FlexResult(rec *Recording) (Result, error) {
	if rec.Signal.Kind != testsignals.Tone {
		return Result{}, fmt.Errorf("looking for drop-outs: a steady tone is needed, this signal is %s", rec.Signal.Kind)
	}
	var res Result
	for i, name := range rec.Outputs {
		x, ok := rec.part(i, steadyPart(rec))
		if !ok || !hasTone(x, rec.RateHz, rec.Signal.FrequencyHz) {
			res.refuse(name, "", fmt.Sprintf("no signal: there is no steady tone near %g Hz; check the patch", rec.Signal.FrequencyHz), DropOuts)
			continue
		}
		events := FindDropOuts(x, rec.RateHz, rec.Signal.FrequencyHz)
		res.Readings = append(res.Readings, Reading{Quantity: DropOuts, Output: name, Unit: "", Value: float64(len(events)),
			K: CoverageK, Note: describe(events)})
	}
	res.setState(rec.State)
	return res, nil
}

// describe names the first few events, for a person to find the joint by.
func describe(events []Event) string {
	var words []string
	for i, e := range events {
		if i == 4 {
			words = append(words, fmt.Sprintf("and %d more", len(events)-i))
			break
		}
		words = append(words, fmt.Sprintf("at %.1f s for %.0f ms, %+.0f dB", e.AtS+toneSettleS, e.DurationS*1000, e.ChangeDB))
	}
	return strings.Join(words, "; ")
}
