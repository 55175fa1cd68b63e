package analysis

import (
	"math"
	"math/cmplx"
	"testing"
)

// Closed forms: the magnitudes of sections of the first and second order follow from
// their phases alone, but for a constant, what a straight phase adds, and the ends.
func TestBodeLevelOfKnownSections(t *testing.T) {
	peak := func(f float64) complex128 {
		s := complex(0, f/900)
		return (1 + s*complex(1.5, 0) + s*s) / (1 + s*complex(0.5, 0) + s*s)
	}
	for name, h := range map[string]func(float64) complex128{
		"flat": gainOf(0.3), "first order": chain(highPass(12), lowPass(9000)), "inverted and late": chain(gainOf(-2), highPass(30), delayed(4e-4)), "peak": peak,
	} {
		g := &Gated{FrequencyHz: Grid(48000)}
		for _, f := range g.FrequencyHz {
			g.H = append(g.H, h(f))
			g.noise, g.Noise = append(g.noise, []complex128{0}), append(g.Noise, 0)
		}
		dip := append([]complex128(nil), g.H...)
		for i, off := range g.offPhase() {
			if f := g.FrequencyHz[i]; f > 150 && f < 3000 && DBFromRelative(off) > 0.02 {
				t.Errorf("%s: at %.0f Hz the phase tells another magnitude by %.3f dB", name, f, DBFromRelative(off))
			}
			// A dip in time, which turns no phase.
			if u := math.Log2(g.FrequencyHz[i] / 400); math.Abs(u) < 0.4 {
				dip[i] *= 0.9
			}
		}
		g.H = dip
		if off := g.offPhase()[NearestIndex(g.FrequencyHz, 400)]; off < 0.08 || off > 0.12 {
			t.Errorf("%s: a dip of 10 %% that turns no phase stands out by %.3f; the response is %.3f", name, off, cmplx.Abs(h(400)))
		}
	}
}
