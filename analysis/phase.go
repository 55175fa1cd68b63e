package analysis

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// Band over which delay and polarity are found: where a board passes the
// signal and a guitar has something to say.
const (
	delayLowHz  = 100.0
	delayHighHz = 10000.0
)

func sameGrid(a, b []float64) error {
	if len(a) != len(b) {
		return fmt.Errorf("the curves have %d and %d points: they were measured at different rates", len(a), len(b))
	}
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-6*a[i] {
			return errors.New("the curves are on different grids of frequency")
		}
	}
	return nil
}

// straightPhase is a phase of −2·pi·f·delayS, turned by pi where polarity is
// −1.
type straightPhase struct {
	delayS, delayStd float64
	polarity         int
}

// phasePoint is one point to which a straight phase is fitted.
type phasePoint struct {
	f      float64
	z      complex128
	weight float64
	// std is the standard uncertainty of the phase in radians.
	std float64
}

// fitDelay finds delay and polarity by weighted least squares of the phase.
// A phase that starts at 0 (or pi, inverted) at 0 Hz is assumed, so the line
// has a slope and a sign and no free intercept. The weights define what
// "delay" means where the phase is not straight; the standard uncertainty
// comes from each point's own.
func fitDelay(points []phasePoint) (straightPhase, error) {
	var use []phasePoint
	for _, p := range points {
		if p.f >= delayLowHz && p.f <= delayHighHz && p.weight > 0 && cmplx.Abs(p.z) > 0 {
			use = append(use, p)
		}
	}
	if len(use) < 8 {
		return straightPhase{}, errors.New("too little of the band from 100 Hz to 10 kHz is there to find a delay")
	}
	slope := coarseSlope(use)
	polarity := signOf(use, slope)
	var den, noise float64
	for range 4 {
		num := 0.0
		den, noise = 0, 0
		for _, p := range use {
			turned := scale(float64(polarity), p.z*cis(2*math.Pi*p.f*slope))
			num += p.weight * p.f * cmplx.Phase(turned)
			den += p.weight * p.f * p.f
			noise += sq(p.weight * p.f * p.std)
		}
		slope -= num / den / (2 * math.Pi)
		polarity = signOf(use, slope)
	}
	return straightPhase{delayS: slope, delayStd: math.Sqrt(noise) / den / (2 * math.Pi), polarity: polarity}, nil
}

func sq(x float64) float64 { return x * x }

// coarseSlope searches, as far as a response is read, the delay that lines up all phases best,
// whatever the sign, in steps that cannot miss the peak of the sum.
func coarseSlope(use []phasePoint) float64 {
	const stepS = 0.1 / delayHighHz
	spanS := shortGate.to
	best, at := -1.0, 0.0
	// Each point turns by the same angle from step to step.
	turned, step := make([]complex128, len(use)), make([]complex128, len(use))
	for i, p := range use {
		turned[i] = scale(p.weight/cmplx.Abs(p.z), p.z*cis(-2*math.Pi*p.f*spanS))
		step[i] = cis(2 * math.Pi * p.f * stepS)
	}
	for t := -spanS; t <= spanS; t += stepS {
		var sum complex128
		for i, z := range turned {
			sum += z
			turned[i] = z * step[i]
		}
		if a := cmplx.Abs(sum); a > best {
			best, at = a, t
		}
	}
	return at
}

func signOf(use []phasePoint, slope float64) int {
	sum := 0.0
	for _, p := range use {
		sum += p.weight * real(p.z*cis(2*math.Pi*p.f*slope)) / cmplx.Abs(p.z)
	}
	if sum < 0 {
		return -1
	}
	return 1
}

// unwrap removes the jumps of whole turns from phases in radians, in place.
func unwrap(phase []float64) {
	for i := 1; i < len(phase); i++ {
		phase[i] -= 2 * math.Pi * math.Round((phase[i]-phase[i-1])/(2*math.Pi))
	}
}
