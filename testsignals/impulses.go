package testsignals

import "math"

// An impulse is a windowed sinc of this many frames each side of its peak,
// cut off at this share of the rate.
const (
	impulseHalf   = 48
	impulseCutoff = 0.46
)

func impulseCount(s Spec) int { return int(math.Round(s.DurationS / s.PeriodS)) }

func impulsePeriod(s Spec) int { return int(math.Round(s.PeriodS * float64(s.RateHz))) }

// ImpulseStarts returns the frame, from the start of the body, at which each
// period of an impulse train begins; the peak is ImpulsePeak frames later.
func ImpulseStarts(s Spec) (starts []int, period int) {
	period = impulsePeriod(s)
	starts = make([]int, impulseCount(s))
	for i := range starts {
		starts[i] = i * period
	}
	return starts, period
}

// ImpulsePeak is the distance in frames from the start of a period to the
// peak of its impulse.
const ImpulsePeak = impulseHalf

// Impulse returns one band-limited impulse, peak 1 at frame ImpulsePeak: a
// sinc under a Blackman window.
func Impulse() []float64 {
	x := make([]float64, 2*impulseHalf+1)
	for i := range x {
		n := float64(i - impulseHalf)
		phase := 2 * math.Pi * float64(i) / float64(2*impulseHalf)
		window := 0.42 - 0.5*math.Cos(phase) + 0.08*math.Cos(2*phase)
		x[i] = window * Sinc(2*impulseCutoff*n)
	}
	return x
}

func fillImpulses(dst []float64, s Spec) {
	shape := Impulse()
	amp := s.Amplitude()
	starts, _ := ImpulseStarts(s)
	for _, at := range starts {
		for i, v := range shape {
			dst[at+i] = amp * v
		}
	}
}
