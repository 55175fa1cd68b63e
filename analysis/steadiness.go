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
	// A part holds no whole number of cycles. Under a window harmonics do not show as
	// a level that moves; parts overlap by half, so that each moment counts in one.
	window := periodicHann(n)
	worst := unsteadiness{}
	for from := 0; from+n <= len(x); from += n / 2 {
		var cc, cs, ss, xc, xs float64
		osc := newOscillator(w, 0)
		for i, h := range window {
			v := x[from+i] - c.Offset - (c.overtones[from+i] - c.residual[from+i])
			cc, cs, ss = cc+h*osc.cos*osc.cos, cs+h*osc.cos*osc.sin, ss+h*osc.sin*osc.sin
			xc, xs = xc+h*v*osc.cos, xs+h*v*osc.sin
			osc.next(i)
		}
		det := cc*ss - cs*cs
		amplitude := math.Hypot(xc*ss-xs*cs, xs*cc-xc*cs) / det
		off := math.Abs(DB(math.Max(amplitude, 1e-6*c.Amplitude[0]) / c.Amplitude[0]))
		if off > worst.db {
			worst = unsteadiness{off, float64(from+n/2) / rateHz}
		}
	}
	// The window takes a third of the samples away: 1.5 is the noise bandwidth of a
	// Hann window in bins.
	if worst.db < steadySigmas*DBFromRelative(c.Std[0]/c.Amplitude[0])*math.Sqrt(1.5*steadyParts) {
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
