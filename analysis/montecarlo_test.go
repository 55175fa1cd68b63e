package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sort"
	"testing"
)

// drawnSpread is what a Monte Carlo propagation gave: the standard deviation, and
// half the width of the symmetric interval of 95.45 % (JCGM 101:2008, 7.6 and
// 7.7).
func drawnSpread(draws []float64) (std, expanded float64) {
	mean := 0.0
	for _, v := range draws {
		mean += v / float64(len(draws))
	}
	for _, v := range draws {
		std += sq(v-mean) / float64(len(draws)-1)
	}
	s := append([]float64(nil), draws...)
	sort.Float64s(s)
	tail := (1 - math.Erf(math.Sqrt2)) / 2 * float64(len(s))
	return math.Sqrt(std), (s[len(s)-1-int(tail)] - s[int(tail)]) / 2
}

// agree holds a budget against drawn values; within is the relative deviation
// that the number of draws, and what is not linear, explain.
func agree(t *testing.T, what string, b Budget, draws []float64, within float64) {
	t.Helper()
	std, expanded := drawnSpread(draws)
	t.Logf("%-40s budget %.5f, drawn %.5f; expanded %.5f, drawn %.5f", what, b.Std(), std, b.Expanded(), expanded)
	if math.Abs(b.Std()/std-1) > within {
		t.Errorf("%s: the budget states %.5g, the draws spread by %.5g", what, b.Std(), std)
	}
	if math.Abs(b.Expanded()/expanded-1) > within {
		t.Errorf("%s: the budget expands to %.5g, the draws to %.5g", what, b.Expanded(), expanded)
	}
}

// Level match by a tone, every input drawn anew: the noise of both channels,
// that of both loopbacks, and the plugging of both leads.
func TestMonteCarloOfLevelMatch(t *testing.T) {
	const rateHz, n, draws, noise, plug, loopNoise = 48000.0, 2400, 1500, 0.01, 1e-3, 3e-4
	rng := rand.New(rand.NewPCG(3, 4))
	loopback := func() BenchInput {
		gain := 1 + plug*rng.NormFloat64()
		tr := Transfer{FrequencyHz: []float64{900, 1100}, RelStd: []float64{loopNoise, loopNoise}}
		z := complex(gain*(1+loopNoise*rng.NormFloat64()), loopNoise*rng.NormFloat64())
		tr.Re, tr.Im = []float64{real(z), real(z)}, []float64{imag(z), imag(z)}
		return BenchInput{Loopback: &tr, PlugRelStd: plug}
	}
	var values []float64
	var sum Budget
	for range draws {
		rec := &Recording{RateHz: rateHz, Outputs: []string{"A", "B"}, Bench: []BenchInput{loopback(), loopback()}}
		rows := [][]float64{make([]float64, n), make([]float64, n)}
		phase := 2 * math.Pi * rng.Float64()
		for i := range n {
			c := math.Cos(2*math.Pi*1000*float64(i)/rateHz + phase)
			rows[0][i], rows[1][i] = c, 0.7*c
		}
		addNoise(rows[0], noise, rng)
		addNoise(rows[1], noise, rng)
		fit, err := FitTone(rows, rateHz, 1000, 2)
		if err != nil {
			t.Fatal(err)
		}
		r := (&toneParts{rateHz: rateHz, names: []int{0, 1}, quiet: rows, hum: []*Comb{{}, {}}}).match(rec, fit, make([]unsteadiness, 2)).Readings[0]
		values = append(values, r.Value)
		if sum == nil {
			sum = make(Budget, len(r.Budget))
		}
		for i, c := range r.Budget {
			c.Std = math.Hypot(sum[i].Std, c.Std/math.Sqrt(draws))
			sum[i] = c
		}
	}
	// 1500 draws tell a spread to 1.8 %, and the end of an interval that one
	// in 44 exceeds to 3 %.
	agree(t, "level match", sum, values, 0.08)
}

// Noise with the bench's own taken off in power, and a meter's rectangular
// error on top: the quotient of powers is not linear, least so next to the
// floor.
func TestMonteCarloOfNoiseOverTheFloor(t *testing.T) {
	const draws, relStd, meterDB = 60000, 0.005, 0.02
	rng := rand.New(rand.NewPCG(5, 6))
	for _, overDB := range []float64{3.5, 6, 10, 30} {
		bench := Estimate{1e-6, relStd * 1e-6}
		read := Estimate{1e-6 * math.Pow(10, overDB/20), 0}
		read.Std = relStd * read.Value
		budget := func(r, b Estimate) (float64, Budget) {
			c := takeOffFloor(r, b, 0)
			res := silenceReadings{scale: Budget{evenly("meter", meterDB)}}
			res.level(Reading{Quantity: Noise}, c, share{})
			return res.res.Readings[0].Value, res.res.Readings[0].Budget
		}
		_, b := budget(read, bench)
		var values []float64
		for range draws {
			v, _ := budget(Estimate{read.Value + read.Std*rng.NormFloat64(), read.Std}, Estimate{bench.Value + bench.Std*rng.NormFloat64(), bench.Std})
			values = append(values, v+meterDB*math.Sqrt(3)*(2*rng.Float64()-1))
		}
		agree(t, fmt.Sprintf("noise %g dB over the floor", overDB), b, values, 0.02)
	}
}

// JCGM 100:2008, annex H.2: voltage, current and phase observed five times
// together give resistance, reactance and impedance, whose uncertainties need
// the correlation of what was observed. Here it is what a ratio of two outputs
// does with noise that both carry: the voltage is one output, the current the
// other, each observation's deviation one noise gate. Values from the annex's
// Tables H.3 and H.4.
func TestRatioOfCorrelatedOutputsGivesGUMH2(t *testing.T) {
	voltage := []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	currentMA := []float64{19.663, 19.639, 19.640, 19.685, 19.678}
	phase := []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
	n := float64(len(voltage))
	mean := func(x []float64) (m float64) {
		for _, v := range x {
			m += v / n
		}
		return m
	}
	v, i, p := mean(voltage), mean(currentMA)/1000, mean(phase)
	out := &Gated{FrequencyHz: []float64{1000}, H: []complex128{cmplx.Rect(v, p)}, Noise: make([]float64, 1), noise: make([][]complex128, 1)}
	ref := &Gated{FrequencyHz: []float64{1000}, H: []complex128{complex(i, 0)}, Noise: make([]float64, 1), noise: make([][]complex128, 1)}
	for k := range voltage {
		out.noise[0] = append(out.noise[0], cmplx.Rect(1, p)*complex(voltage[k]-v, v*(phase[k]-p)))
		ref.noise[0] = append(ref.noise[0], complex(currentMA[k]/1000-i, 0))
	}
	z, err := out.ratio(ref)
	if err != nil {
		t.Fatal(err)
	}
	covariance := func(a, b func(complex128) float64) (sum float64) {
		for _, d := range z.noise[0] {
			sum += a(d) * b(d) / (n * (n - 1))
		}
		return sum
	}
	resistance, reactance := func(d complex128) float64 { return real(d) }, func(d complex128) float64 { return imag(d) }
	modulus := func(d complex128) float64 { return real(d * cmplx.Rect(1, -p)) }
	std := func(a func(complex128) float64) float64 { return math.Sqrt(covariance(a, a)) }
	r := func(a, b func(complex128) float64) float64 { return covariance(a, b) / std(a) / std(b) }
	for what, c := range map[string][3]float64{
		"R in Ω":    {real(z.H[0]), 127.732, 5e-4},
		"X in Ω":    {imag(z.H[0]), 219.847, 5e-4},
		"Z in Ω":    {cmplx.Abs(z.H[0]), 254.260, 5e-4},
		"u(R) in Ω": {std(resistance), 0.071, 5e-4},
		"u(X) in Ω": {std(reactance), 0.296, 5e-4},
		"u(Z) in Ω": {std(modulus), 0.236, 5e-4},
		"r(R, X)":   {r(resistance, reactance), -0.588, 6e-4},
		"r(R, Z)":   {r(resistance, modulus), -0.485, 6e-4},
		"r(X, Z)":   {r(reactance, modulus), 0.993, 6e-4},
	} {
		if !(math.Abs(c[0]-c[1]) <= c[2]) {
			t.Errorf("%s: %.5f, JCGM 100 has %.3f", what, c[0], c[1])
		}
	}
}
