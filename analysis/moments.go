package analysis

import (
	"math"
	"math/cmplx"

	"boardproof/testsignals"
)

const (
	// passingOctaves is how wide around 1 kHz the stretch of a sweep is in which
	// its gain there is looked at: wide enough for 20 ms of the shortest sweep.
	passingOctaves = 0.3
	// pieceS is how long a piece of a tone is whose gain is looked at: a tremolo
	// of ten a second moves less in it than from one to the next.
	pieceS = 0.05
)

// MomentGains returns the gain at 1 kHz in dB that output i had while the run-in
// played, 12 dB under the body, and at moments of the body: a board that is
// linear and stands still shows one figure. ok is false where the signal has no
// 1 kHz in its body or nothing came back. It is a quick look, to warn by; no
// reading is made of it.
func (r *Recording) MomentGains(i int) (runIn float64, body []float64, ok bool) {
	s := r.Signal
	x, found := r.part(i, s.RunInFlat)
	if !found || r.problem(i) != "" {
		return 0, nil, false
	}
	runIn = DB(amplitudeAt(x, testsignals.RunInHz, r.RateHz) / s.Amplitude() / math.Pow(10, -testsignals.RunInBelowDB/20))
	switch {
	case s.Kind == testsignals.Tone && math.Abs(s.FrequencyHz/testsignals.RunInHz-1) < 0.01:
		n := int(pieceS * r.RateHz)
		steady := steadyPart(r)
		for at := steady.Start; at+n <= steady.End; at += n {
			if x, found := r.part(i, testsignals.Span{Start: at, End: at + n}); found {
				body = append(body, DB(amplitudeAt(x, s.FrequencyHz, r.RateHz)/s.Amplitude()))
			}
		}
	case s.Kind == testsignals.Sweep:
		if db, found := r.passing(i, testsignals.RunInHz); found {
			body = append(body, db)
		}
	}
	return runIn, body, len(body) > 0 && !math.IsInf(runIn, 0)
}

// amplitudeAt is that of a tone in x, under a Hann window, whose frequency is
// known.
func amplitudeAt(x []float64, hz, rateHz float64) float64 {
	var sum complex128
	weight := 0.0
	for k, v := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(len(x)))
		sum += scale(w*v, cis(-2*math.Pi*hz*float64(k)/rateHz))
		weight += w / 2
	}
	return cmplx.Abs(sum) / weight
}

// passing is the gain in dB as the sweep passes a frequency: the recording
// times the sweep's own phase, under a Hann window, against the same of the
// sweep.
func (r *Recording) passing(i int, hz float64) (db float64, ok bool) {
	s := r.Signal
	l := testsignals.SweepRate(s.Spec)
	at := func(f float64) int { return s.Body.Start + int(l*math.Log(f/s.StartHz)*r.RateHz) }
	span := testsignals.Span{Start: at(hz / math.Exp2(passingOctaves/2)), End: at(hz * math.Exp2(passingOctaves/2))}
	x, ok := r.part(i, span)
	if !ok || span.Start < s.Body.Start || span.End > s.Body.End {
		return 0, false
	}
	var came, played complex128
	for k, v := range x {
		t := float64(span.Start+k-s.Body.Start) / r.RateHz
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(len(x)))
		turn := cis(-2 * math.Pi * s.StartHz * l * math.Exp(t/l))
		came += scale(w*v, turn)
		played += scale(w*s.Samples[span.Start+k], turn)
	}
	return DB(cmplx.Abs(came) / cmplx.Abs(played)), true
}
