package simboard

import "math"

// Swing is how a cause comes and goes: a load that breathes, a fridge that
// switches. Its time is the bench's own, which runs while a take is made or
// the bench is listened to, and stands still in between.
type Swing struct {
	// DepthDB is how far the level goes up and down, as a sine of PeriodS.
	DepthDB, PeriodS float64
	// StepDB is by how much the level steps at StepAtS, and back and forth
	// every StepEveryS after that; 0 is never.
	StepDB, StepAtS, StepEveryS float64
}

// gain is the swing's factor at a time.
func (s *Swing) gain(atS float64) float64 {
	dB := 0.0
	if s.PeriodS > 0 {
		dB = s.DepthDB * math.Sin(2*math.Pi*atS/s.PeriodS)
	}
	since := atS - s.StepAtS
	if since >= 0 && (s.StepEveryS == 0 || math.Mod(since, 2*s.StepEveryS) < s.StepEveryS) {
		dB += s.StepDB
	}
	return math.Pow(10, dB/20)
}

// swingBlock is how many frames share one value of a swing, so that it is
// not worked out for each.
const swingBlock = 16

// run multiplies x, whose first frame is at startS.
func (s *Swing) run(x []float64, startS, rateHz float64) {
	for i := 0; i < len(x); i += swingBlock {
		g := s.gain(startS + float64(i)/rateHz)
		for j := i; j < min(i+swingBlock, len(x)); j++ {
			x[j] *= g
		}
	}
}
