package testsignals

import "math"

// BesselI0OfSquare is the modified Bessel function of the first kind, order 0, of the
// root of x2, which may be below zero, by its power series: that of Kaiser windows.
// Up to 20² of it it is right to the last few digits.
func BesselI0OfSquare(x2 float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; math.Abs(term) > 1e-17*math.Abs(sum) && k < 100; k++ {
		term *= x2 / 4 / (k * k)
		sum += term
	}
	return sum
}
