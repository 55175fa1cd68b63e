package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// Monte Carlo: what white noise does to two points of a curve is as alike as is said.
func TestNoiseCorrelation(t *testing.T) {
	const rateHz, trials = 48000.0, 150
	sig := mustSignal(t, testsignals.New(testsignals.Sweep, rateHz, -20, 1))
	played, err := NewPlayed(sig)
	if err != nil {
		t.Fatal(err)
	}
	// Short and long gate, neighbours and not, and across.
	pairs := [][2]float64{{400, 411.7}, {550, 566}, {900, 926}, {2000, 2058}, {300, 304}, {45, 46.3}, {60, 61}, {198, 204}, {150, 150.5}}
	var grid []float64
	for _, p := range pairs {
		grid = append(grid, p[0], p[1])
	}
	rng := rand.New(rand.NewPCG(1, 5))
	sums := make([][3]float64, len(pairs))
	for range trials {
		x := padded(sig, 0, 3000)
		addNoise(x, 1e-4, rng)
		raw, err := played.Deconvolve(x, 0)
		if err != nil {
			t.Fatal(err)
		}
		g := raw.Response(grid)
		for i := range pairs {
			a, b := real(g.H[2*i])-1, real(g.H[2*i+1])-1
			sums[i][0], sums[i][1], sums[i][2] = sums[i][0]+a*a, sums[i][1]+b*b, sums[i][2]+a*b
		}
	}
	for i, p := range pairs {
		got, want := sums[i][2]/math.Sqrt(sums[i][0]*sums[i][1]), NoiseCorrelation(p[0], p[1])
		t.Logf("%g and %g Hz: %.2f drawn, %.2f said", p[0], p[1], got, want)
		// Of 150 pairs a correlation is known within 0.08, and the edges are soft.
		if math.Abs(got-want) > 0.25 {
			t.Errorf("%g and %g Hz: noise is alike by %.2f, want %.2f", p[0], p[1], got, want)
		}
	}
	if NoiseCorrelation(1000, 1000) != 1 {
		t.Error("a point is not like itself")
	}
}
