package hunt_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// comb is the RMS phasor of each harmonic by its number.
type comb map[int]complex128

// scene is what one output has in it, under one condition.
type scene struct {
	mainsHz     float64
	driftHzPerS float64
	comb        comb
	tones       map[float64]float64 // RMS volts by hertz
	noiseStd    float64             // volts in each sample
	lengthS     float64
}

const sceneRateHz = 48000.0

// record is the samples of a scene, in volts.
func (s scene) record(seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 11))
	x := make([]float64, int(s.lengthS*sceneRateHz))
	start := rng.Float64()
	for i := range x {
		x[i] = s.noiseStd * rng.NormFloat64()
	}
	centre := float64(len(x)-1) / 2
	for n := 1; n <= 400; n++ {
		a, ok := s.comb[n]
		if !ok || a == 0 {
			continue
		}
		for i := range x {
			t := (float64(i) - centre) / sceneRateHz
			cycles := float64(n) * (start + s.mainsHz*t + s.driftHzPerS*t*t/2)
			sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
			x[i] += math.Sqrt2 * (real(a)*cos - imag(a)*sin)
		}
	}
	for hz, rms := range s.tones {
		phase := 2 * math.Pi * rng.Float64()
		for i := range x {
			x[i] += math.Sqrt2 * rms * math.Sin(2*math.Pi*hz*float64(i)/sceneRateHz+phase)
		}
	}
	return x
}

// read reads a scene at each output.
func read(t testing.TB, c hunt.Condition, seed uint64, scenes map[string]scene, outputs ...string) []hunt.Reading {
	t.Helper()
	rec := &analysis.Recording{Outputs: outputs, RateHz: sceneRateHz}
	for i, o := range outputs {
		rec.Samples = append(rec.Samples, scenes[o].record(seed+uint64(i)*1000))
		rec.Bench = append(rec.Bench, analysis.BenchInput{VoltsPerUnit: 1})
	}
	readings, err := hunt.Read(rec, c)
	if err != nil {
		t.Fatal(err)
	}
	return readings
}

// combOf makes a comb of levels relative to the first in dB, with phases that
// mean nothing.
func combOf(rng *rand.Rand, volts float64, db map[int]float64) comb {
	c := comb{}
	for n := 1; n <= 400; n++ {
		if d, ok := db[n]; ok {
			c[n] = cmplx.Rect(volts*math.Pow(10, d/20), 2*math.Pi*rng.Float64())
		}
	}
	return c
}

func (c comb) plus(o comb) comb {
	sum := comb{}
	for n, a := range c {
		sum[n] += a
	}
	for n, a := range o {
		sum[n] += a
	}
	return sum
}

func (c comb) times(g float64) comb {
	out := comb{}
	for n, a := range c {
		out[n] = a * complex(g, 0)
	}
	return out
}

// fullWave is the Fourier series of |sin|: 2/π − 4/π·Σ cos(2mθ)/(4m²−1)
// (any handbook's table of series; from memory).
func fullWave(volts float64) comb {
	c := comb{}
	for m := 1; m <= 60; m++ {
		c[2*m] = complex(-volts*4/math.Pi/float64(4*m*m-1)/math.Sqrt2, 0)
	}
	return c
}

// square is 4/π·Σ sin((2k−1)θ)/(2k−1) (likewise).
func square(volts float64) comb {
	c := comb{}
	for n := 1; n <= 199; n += 2 {
		c[n] = complex(0, -volts*4/math.Pi/float64(n)/math.Sqrt2)
	}
	return c
}

// reservoir is the ripple of a full-wave rectifier with a reservoir that falls
// in a straight line: a sawtooth with its charging taking a share of the half
// cycle, by numerical Fourier integral.
func reservoir(volts, charging float64) comb {
	c := comb{}
	const steps = 4096
	for m := 1; m <= 60; m++ {
		var sum complex128
		for i := range steps {
			u := float64(i) / steps
			v := 1 - u/(1-charging)
			if u > 1-charging {
				v = (u - (1 - charging)) / charging
			}
			sum += complex(v, 0) * cmplx.Rect(2.0/steps, -2*math.Pi*float64(m)*u)
		}
		c[2*m] = sum * complex(volts/math.Sqrt2, 0)
	}
	return c
}
