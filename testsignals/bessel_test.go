package testsignals

import (
	"math"
	"testing"
)

// I0(1), I0(5) and J0(1), as I0 of a root of -1 is: Abramowitz & Stegun, tables 9.8 and
// 9.1 (from memory); I0(18) from scipy.special.i0.
func TestBesselI0OfSquare(t *testing.T) {
	for x2, want := range map[float64]float64{0: 1, 1: 1.2660658777520084, 25: 27.239871823604442, -1: 0.7651976865579666, 324: 6218412.420781003} {
		if got := BesselI0OfSquare(x2); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("of the root of %g: %.12g, want %.12g", x2, got, want)
		}
	}
}
