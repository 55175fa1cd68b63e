package capture

import (
	"fmt"
	"math"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/mat"
)

// toneAmplitude returns the amplitude of the sine of omega radians per frame
// in x by linear least squares with a constant: IEEE Std 1057, three-parameter
// fit. It is 0 where x is too short to tell.
func toneAmplitude(x []float64, omega float64) float64 {
	if len(x) < 8 {
		return 0
	}
	a := mat.NewDense(len(x), 3, nil)
	for i := range x {
		sin, cos := math.Sincos(omega * float64(i))
		a.SetRow(i, []float64{sin, cos, 1})
	}
	var fit mat.VecDense
	if err := fit.SolveVec(a, mat.NewVecDense(len(x), x)); err != nil {
		return 0
	}
	return math.Hypot(fit.AtVec(0), fit.AtVec(1))
}

// spacing is the distances between marks as all channels together show them.
type spacing struct {
	played [3]float64
	// pair1 and pair2 are the distances within the pairs, between the
	// distance from the middle of the first to that of the second, each less
	// what was played, in frames; std is the uncertainty of one mark.
	pair1, between, pair2, std float64
	// first to last mark, as played.
	whole int
}

// combine weighs the channels by the inverse of their variance: they share a
// clock and each lost frame.
func combine(fits []*markFit, l testsignals.Layout) spacing {
	s := spacing{played: playedSpacings(l), whole: l.Marks[3].Start - l.Marks[0].Start}
	var weights float64
	for _, f := range fits {
		if f == nil {
			continue
		}
		// The floor keeps a noiseless simulation from dividing by zero.
		w := 1 / math.Pow(math.Max(f.std, minMarkStd), 2)
		weights += w
		s.pair1 += w * (f.at[1] - f.at[0] - s.played[0])
		s.pair2 += w * (f.at[3] - f.at[2] - s.played[2])
		s.between += w * ((f.at[2]+f.at[3]-f.at[0]-f.at[1])/2 - s.middle())
	}
	s.pair1, s.pair2, s.between = s.pair1/weights, s.pair2/weights, s.between/weights
	s.std = 1 / math.Sqrt(weights)
	return s
}

// minMarkStd is what the fit itself leaves of noiseless marks, in frames.
const minMarkStd = 1e-5

// middle is the distance played from the middle of the first pair to that of
// the second.
func (s *spacing) middle() float64 { return s.played[0]/2 + s.played[1] + s.played[2]/2 }

// off is by how many frames the last mark is late.
func (s *spacing) off() float64 { return s.between + (s.pair1+s.pair2)/2 }

// prove decides whether frames were lost or added, and sets p.
func (s *spacing) prove(p *Proof, clocks Clocks) error {
	p.PlayedFrames = s.whole
	p.FoundFrames = float64(s.whole) + s.off()
	p.FoundStdFrames = math.Sqrt2 * s.std
	p.ClockError = ClockError{
		PPM: 1e6 * s.between / s.middle(), StdPPM: 1e6 * s.std / s.middle(),
		DriftPPM: 1e6 * (s.pair2/s.played[2] - s.pair1/s.played[0]), DriftStdPPM: 1e6 * math.Sqrt2 * math.Hypot(1/s.played[0], 1/s.played[2]) * s.std,
	}
	if clocks == TwoClocks {
		return s.proveTwoClocks(p)
	}
	return s.proveOneClock(p)
}

func (s *spacing) proveOneClock(p *Proof) error {
	distances := []struct{ off, std float64 }{
		{s.between, s.std}, {s.pair1, math.Sqrt2 * s.std}, {s.pair2, math.Sqrt2 * s.std},
	}
	for _, d := range distances {
		if coverage*d.std > 0.5 {
			return &BadTake{Fault: NotProved, Reason: fmt.Sprintf("not proved: the timing marks are known to %.2f frames only, the noise hides whether samples were lost; raise the level", 2*s.std)}
		}
	}
	for _, d := range distances {
		if math.Abs(d.off) > spacingTolerance+coverage*d.std {
			return s.refuse(p, s.off(), math.Sqrt2*s.std)
		}
	}
	return nil
}

// proveTwoClocks tells loss from a clock that is off. Both pairs stretch with
// the clock, by up to two frames; the distance between the pairs stretches
// with it too, and shrinks by what was lost.
func (s *spacing) proveTwoClocks(p *Proof) error {
	if math.Abs(s.pair1-s.pair2) > math.Max(0.5, coverage*2*s.std) {
		return s.refusePair(p)
	}
	perFrame := (s.pair1 + s.pair2) / (s.played[0] + s.played[2])
	perFrameStd := 2 * s.std / (s.played[0] + s.played[2])
	lost := s.between - perFrame*s.middle()
	lostStd := math.Hypot(s.std, perFrameStd*s.middle())
	switch {
	case math.Abs(lost) >= 0.5 && math.Abs(lost) > coverage*lostStd:
		p.ClockError = ClockError{PPM: 1e6 * perFrame, StdPPM: 1e6 * perFrameStd}
		return s.refuse(p, lost, lostStd)
	case 2*lostStd > 0.5:
		return &BadTake{Fault: NotProved, Reason: fmt.Sprintf("not proved: the noise hides whether up to %.0f samples were lost or the recorder's clock is off; record nearer to the source or louder", math.Ceil(2*lostStd))}
	case math.Abs(lost) >= 0.5:
		return &BadTake{Fault: NotProved, Reason: "not proved: a lost sample cannot be told from the recorder's clock; record again"}
	case math.Abs(p.ClockError.PPM) > maxClockPPM+coverage*p.ClockError.StdPPM:
		return &BadTake{Fault: Unsteady, Reason: fmt.Sprintf("unsteady timing: the recorder's clock is %.0f ppm off, at most %.0f ppm is in order; check the rate it really recorded at", p.ClockError.PPM, maxClockPPM)}
	}
	return nil
}

// refusePair reports loss inside one of the pairs. The clock is then that of
// the other pair: the one whose stretch the distance between the pairs
// follows. What a pair lost moves its middle by half.
func (s *spacing) refusePair(p *Proof) error {
	misfit := func(sound, hit float64) float64 {
		return math.Abs(s.between - sound/s.played[0]*s.middle() - (hit-sound)/2)
	}
	sound, hit := s.pair2, s.pair1
	if misfit(s.pair1, s.pair2) < misfit(s.pair2, s.pair1) {
		sound, hit = s.pair1, s.pair2
	}
	p.ClockError = ClockError{PPM: 1e6 * sound / s.played[0], StdPPM: 1e6 * math.Sqrt2 * s.std / s.played[0]}
	return s.refuse(p, hit-sound, 2*s.std)
}

// refuse says what is wrong with marks that, the clock's error aside, are off
// by so many frames.
func (s *spacing) refuse(p *Proof, off, std float64) error {
	whole := math.Round(off)
	found := float64(s.whole) + off
	if whole == 0 || math.Abs(off-whole) > spacingTolerance+coverage*std {
		return &BadTake{Fault: Unsteady, Reason: fmt.Sprintf("unsteady timing: marks %.2f apart, played %d; something that changes with time (a chorus, a vibrato) is on, or the recording was resampled", found, s.whole)}
	}
	p.LostFrames = -int(whole)
	fault := Lost
	if off > 0 {
		fault = Added
	}
	return &BadTake{Fault: fault, Reason: fmt.Sprintf("%s: marks %.0f apart, played %d; the computer did not keep up: %s", fault, found, s.whole, keepUp)}
}
