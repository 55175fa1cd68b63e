package simboard

import (
	"math"
	"math/rand/v2"
)

// DropOut is one opening of a joint, in seconds from the take's first frame.
type DropOut struct {
	Output    string // "" for all
	StartS    float64
	DurationS float64
}

// rampS is how long a joint takes to open or close, in seconds.
const rampS = 0.0002

// opening is one drop-out of a joint.
type opening struct {
	joint  *Joint
	startS float64
}

// openings draws when the joints of a board open in a take.
func openings(joints []Joint, seconds float64, rng *rand.Rand) []opening {
	var all []opening
	for i := range joints {
		j := &joints[i]
		for _, at := range j.AtS {
			all = append(all, opening{j, at})
		}
		if j.PerMinute <= 0 {
			continue
		}
		for at := rng.ExpFloat64() * 60 / j.PerMinute; at < seconds; at += rng.ExpFloat64() * 60 / j.PerMinute {
			all = append(all, opening{j, at})
		}
	}
	return all
}

// run applies the opening to the volts x of an output.
func (o opening) run(x []float64, rateHz float64, rng *rand.Rand) {
	first := max(int(math.Ceil(o.startS*rateHz)), 0)
	for i := first; i < len(x); i++ {
		s := float64(i)/rateHz - o.startS
		if s >= o.joint.DurationS {
			return
		}
		shut := 1 - math.Min(1, math.Min(s, o.joint.DurationS-s)/rampS)
		x[i] *= o.joint.Gain + (1-o.joint.Gain)*shut
		x[i] += (1 - shut) * o.joint.CrackleVoltsRMS * rng.NormFloat64()
	}
}
