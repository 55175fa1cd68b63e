package testsignals

import (
	"fmt"
	"math"
)

// Span is a run of frames, Start included and End not.
type Span struct{ Start, End int }

// Len returns the number of frames.
func (s Span) Len() int { return s.End - s.Start }

// Shift returns s moved by n frames.
func (s Span) Shift(n int) Span { return Span{s.Start + n, s.End + n} }

// Layout says where the parts of a signal are, in frames from its start.
//
//	run-in | gap | mark mark | lead | body | tail | mark mark | end
type Layout struct {
	// RunIn is a quiet 1 kHz tone that rises slowly; its level is checked
	// before the rest is believed.
	RunIn Span
	// RunInFlat is the part of RunIn that has its full level.
	RunInFlat Span
	// Marks are the four timing marks, two before the body and two after.
	// The distance within a pair shows the clock's rate, the distance
	// between the pairs shows lost or added samples.
	Marks [4]Span
	// Lead is the silence before the body.
	Lead Span
	Body Span
	// Tail is the silence after the body, in which the board rings out.
	Tail Span
	// Frames is the length of the whole.
	Frames int
}

// Run-in and marks, common to every kind.
const (
	RunInHz = 1000.0
	// RunInBelowDB is how far the run-in is below the body.
	RunInBelowDB = 12.0
	// MarkBelowDB is how far a mark's peak is below the body's.
	MarkBelowDB = 3.0
	runInS      = 0.4
	runInRampS  = 0.15
	gapS        = 0.2
	markS       = 0.02
	markPeriodS = 0.15
	endS        = 0.2
	markLowHz   = 300.0
	markHighHz  = 6000.0
)

// Signal is a Spec and the samples it makes.
type Signal struct {
	Spec
	Layout
	// Samples are mono, full scale ±1, Layout.Frames long.
	Samples []float64
}

// LayoutOf returns where the parts of the signal of s will be. s must be
// valid.
func LayoutOf(s Spec) Layout {
	rate := float64(s.RateHz)
	at := 0
	take := func(frames int) Span {
		sp := Span{at, at + frames}
		at += frames
		return sp
	}
	frames := func(seconds float64) int { return int(math.Round(seconds * rate)) }
	pair := func() (a, b Span) {
		a = take(frames(markS))
		take(frames(markPeriodS) - a.Len())
		return a, take(frames(markS))
	}
	var l Layout
	l.RunIn = take(frames(runInS))
	l.RunInFlat = Span{l.RunIn.Start + frames(runInRampS), l.RunIn.End - frames(runInRampS)}
	take(frames(gapS))
	l.Marks[0], l.Marks[1] = pair()
	l.Lead = take(frames(s.LeadS))
	l.Body = take(bodyFrames(s))
	l.Tail = take(frames(s.TailS))
	l.Marks[2], l.Marks[3] = pair()
	take(frames(endS))
	l.Frames = at
	return l
}

func bodyFrames(s Spec) int {
	switch s.Kind {
	case Sweep:
		return int(math.Ceil(sweepSeconds(s) * float64(s.RateHz)))
	case Impulses:
		return impulseCount(s) * impulsePeriod(s)
	default:
		return int(math.Round(s.DurationS * float64(s.RateHz)))
	}
}

// Generate makes the signal that s describes, or says what is wrong with s.
func Generate(s Spec) (*Signal, error) {
	if err := s.Validate(); err != nil {
		return nil, fmt.Errorf("making a %s signal: %w", s.Kind, err)
	}
	l := LayoutOf(s)
	sig := &Signal{Spec: s, Layout: l, Samples: make([]float64, l.Frames)}
	amp := s.Amplitude()
	fillTone(part(sig.Samples, l.RunIn), s.RateHz, RunInHz, amp*math.Pow(10, -RunInBelowDB/20), runInRampS)
	mark := Mark(s.RateHz)
	for _, m := range l.Marks {
		for i, v := range mark {
			sig.Samples[m.Start+i] = amp * math.Pow(10, -MarkBelowDB/20) * v
		}
	}
	body := part(sig.Samples, l.Body)
	switch s.Kind {
	case Sweep:
		fillSweep(body, s)
		addPilots(body, s)
	case Impulses:
		fillImpulses(body, s)
	case Tone:
		fillTone(body, s.RateHz, s.FrequencyHz, amp, toneRampS)
	}
	return sig, nil
}

func part(x []float64, s Span) []float64 { return x[s.Start:s.End] }

// Mark returns the shape of one timing mark at a rate: a 20 ms chirp from
// 300 Hz to 6 kHz under a Hann window, peak 1. The band is one that even a
// dull board passes; the chirp's autocorrelation is a single narrow peak.
func Mark(rateHz int) []float64 {
	n := int(math.Round(markS * float64(rateHz)))
	m := make([]float64, n)
	for i := range m {
		t := float64(i) / float64(rateHz)
		phase := 2 * math.Pi * (markLowHz*t + (markHighHz-markLowHz)*t*t/(2*markS))
		window := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
		m[i] = window * math.Sin(phase)
	}
	return m
}

// Seconds returns the length of the whole signal.
func (s *Signal) Seconds() float64 { return float64(s.Frames) / float64(s.RateHz) }
