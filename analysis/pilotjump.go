package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
)

const (
	// jumpApart looks lie between before and after: with jumpApart on each side no
	// window, of five looks, holds the jump.
	jumpApart = 4
	// jumpLeast is how far a pilot must turn at once, in radians, for samples to be
	// lost, and jumpSteady how little it may change before and after: a modulation of
	// some hertz that turns it so far in a tenth of a second does not stand still.
	jumpLeast, jumpSteady = 0.3, 0.05
)

// jumpNear is when, within a second of atS, sound jumps in time: all pilots that are
// seen are as strong after as before, and some have turned at once. A change of
// gain leaves their phases alone. ok is false where there is no such moment.
func jumpNear(pilots []track, atS float64) (jumpS float64, ok bool) {
	most := 0.0
	for m, s := range pilots[0].atS {
		if math.Abs(s-atS) > 1 {
			continue
		}
		if turned := turnedAt(pilots, m); turned > most {
			most, jumpS = turned, s
		}
	}
	return jumpS, most > 0
}

// turnedAt is the furthest that a pilot turns at once at look m, in radians; 0 where
// that is not all that happens.
func turnedAt(pilots []track, m int) float64 {
	furthest := 0.0
	for _, p := range pilots {
		from, to := m-2*jumpApart, m+2*jumpApart
		if from < 0 || to >= len(p.heard) {
			return 0
		}
		before, after, noise := p.heard[m-jumpApart], p.heard[m+jumpApart], 0.0
		for _, k := range []int{from, m - jumpApart, m + jumpApart, to} {
			noise = math.Max(noise, math.Sqrt(p.variance[k]))
		}
		if math.IsInf(noise, 1) {
			continue
		}
		least := jumpSteady + 6*noise
		if cmplx.Abs(p.heard[from]/before-1) > least || cmplx.Abs(p.heard[to]/after-1) > least || math.Abs(cmplx.Abs(after/before)-1) > least {
			return 0
		}
		if turned := math.Abs(cmplx.Phase(after / before)); turned > jumpLeast+6*noise {
			furthest = math.Max(furthest, turned)
		}
	}
	return furthest
}

// samplesLost is the reason for which there is no response where sound jumps in time.
func samplesLost(jumpS float64) string {
	return fmt.Sprintf("lost samples: %.1f s into the sweep the sound jumps in time, as the pilot tones show; the computer or the recorder "+
		"lost samples, or put some in: close other programs, or set a larger buffer in the audio system, and take it again", jumpS)
}
