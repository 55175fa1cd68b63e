package analysis

import (
	"fmt"
	"math"
)

const (
	// steadyParts is into how many parts a tone is cut to see its level move.
	steadyParts = 20
	// steadyRefuseDB is from how much of that on there is no level to state.
	steadyRefuseDB = 0.2
	steadySigmas   = 5.0
)

// unsteadiness is how far the level of a tone leaves its mean, in dB, and
// when, in seconds from where the fit begins; zero where noise explains it.
type unsteadiness struct{ db, atS float64 }

// steadiness reads channel j part by part; x is what was fitted.
func (f *ToneFit) steadiness(x []float64, j int, rateHz float64) unsteadiness {
	c := f.Channels[j]
	n := len(x) / steadyParts
	w := 2 * math.Pi * f.FrequencyHz.Value / rateHz
	if float64(n)*w < 8*math.Pi {
		return unsteadiness{}
	}
	worst := unsteadiness{}
	for p := range steadyParts {
		part, err := fitHarmonics(x[p*n:(p+1)*n], w, 1)
		if err != nil {
			continue
		}
		off := math.Abs(DB(math.Max(part.Amplitude[0], 1e-6*c.Amplitude[0]) / c.Amplitude[0]))
		if off > worst.db {
			worst = unsteadiness{off, (float64(p) + 0.5) * float64(n) / rateHz}
		}
	}
	if worst.db < steadySigmas*DBFromRelative(c.Std[0]/c.Amplitude[0])*math.Sqrt(steadyParts) {
		return unsteadiness{}
	}
	return worst
}

// std is the standard uncertainty that an unsteadiness small enough to be
// lived with adds.
func (u unsteadiness) std() float64 { return u.db / math.Sqrt(3) }

// refused is why no level can be stated, "" if one can.
func (u unsteadiness) refused() string {
	if u.db <= steadyRefuseDB {
		return ""
	}
	return fmt.Sprintf("the tone's level is not steady: it moves by %.2g dB, most %.1f s into it; is a tremolo, chorus or delay engaged, or a joint loose",
		u.db, u.atS+toneSettleS)
}
