package analysis

import (
	"math"
	"math/rand/v2"
)

// quietRecord is a record of white noise with mains and tones of known truth.
type quietRecord struct {
	rateHz, lengthS float64
	noiseStd        float64 // volts
	mainsHz         float64 // in the middle of the record
	driftHzPerS     float64
	harmonicsRMS    []float64 // volts, the first is the fundamental
	tones           []line    // freqHz and rms
	seed            uint64
}

func (q quietRecord) make() []float64 {
	rng := rand.New(rand.NewPCG(q.seed, 7))
	x := make([]float64, int(q.lengthS*q.rateHz))
	phases := make([]float64, len(q.harmonicsRMS)+len(q.tones))
	for i := range phases {
		phases[i] = 2 * math.Pi * rng.Float64()
	}
	for i := range x {
		x[i] = q.noiseStd * rng.NormFloat64()
	}
	amplitudes := make([]complex128, len(q.harmonicsRMS))
	for h, a := range q.harmonicsRMS {
		amplitudes[h] = scale(a*math.Sqrt2, cis(phases[h]))
	}
	centre := float64(len(x)-1) / 2
	for i := range x {
		t := (float64(i) - centre) / q.rateHz
		cycles := q.mainsHz*t + q.driftHzPerS*t*t/2
		turn, turned := cis(2*math.Pi*cycles), complex(1, 0)
		for _, a := range amplitudes {
			turned *= turn
			x[i] += real(a * turned)
		}
		for k, tone := range q.tones {
			x[i] += tone.rms * math.Sqrt2 * math.Cos(2*math.Pi*tone.freqHz*t+phases[len(q.harmonicsRMS)+k])
		}
	}
	return x
}

// rectifierHum is a comb that falls as 1/h with every harmonic there.
func rectifierHum(fundamentalRMS float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = fundamentalRMS / float64(i+1)
	}
	return out
}

// densityOf is the one-sided density of white noise.
func (q quietRecord) densityOf() float64 { return 2 * q.noiseStd * q.noiseStd / q.rateHz }
