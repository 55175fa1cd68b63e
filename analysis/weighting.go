package analysis

import "math"

// Weightings that noise is read with.
const (
	Unweighted = "none"
	WeightA    = "A"
	Weight468  = "468"
)

// Weightings lists all three, in the order in which they are reported.
var Weightings = []string{Unweighted, WeightA, Weight468}

// WeightingGain returns the amplitude gain of a weighting at freqHz: 1 at
// 1 kHz, 0 at 0 Hz for the two that weight. A name that is not known gives
// NaN.
//
// A: IEC 61672-1, Annex E, closed form. 468: ITU-R BS.468-4 by the rational
// approximation in common use, within 0.1 dB of the Recommendation's table.
func WeightingGain(name string, freqHz float64) float64 {
	switch name {
	case Unweighted:
		return 1
	case WeightA:
		return aCurve(freqHz) / aCurve(1000)
	case Weight468:
		return itu468Curve(freqHz) / itu468Curve(1000)
	}
	return math.NaN()
}

// aCurve has the poles of IEC 61672-1, Annex E.
func aCurve(f float64) float64 {
	const p1, p2, p3, p4 = 20.598997, 107.65265, 737.86223, 12194.217
	f2 := f * f
	return p4 * p4 * f2 * f2 /
		((f2 + p1*p1) * (f2 + p4*p4) * math.Sqrt((f2+p2*p2)*(f2+p3*p3)))
}

// itu468Curve is the even and odd part of the network's denominator as a
// polynomial in hertz.
func itu468Curve(f float64) float64 {
	f2 := f * f
	even := ((-4.737338981378384e-24*f2+2.043828333606125e-15)*f2-1.363894795463638e-7)*f2 + 1
	odd := ((1.306612257412824e-19*f2-2.118150887518656e-11)*f2 + 5.559488023498642e-4) * f
	return f / math.Hypot(even, odd)
}
