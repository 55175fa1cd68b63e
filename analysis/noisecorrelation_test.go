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

// Monte Carlo: noise far under a signal, and not, scatters a response as it is stated: what gates
// beside the response let in of it, and where two gates meet, is not taken for noise.
func TestNoiseOfAResponseIsAsStated(t *testing.T) {
	const rateHz, trials = 48000.0, 24
	sig := mustSignal(t, testsignals.New(testsignals.Sweep, rateHz, -20, 1))
	played, err := NewPlayed(sig)
	if err != nil {
		t.Fatal(err)
	}
	bands := [][]float64{{10.1, 12, 15, 20.3}, {27, 40, 63, 99, 150, 185}, {202, 208, 215, 225, 240, 265}, {310, 400, 520, 700, 1000, 2000}}
	for _, noise := range []float64{1e-6, 1e-4} {
		rng := rand.New(rand.NewPCG(1, 5))
		var all []*Gated
		grid := Grid(rateHz)
		for range trials {
			x := padded(sig, 0, 3000)
			addNoise(x, noise, rng)
			raw, err := played.Deconvolve(x, 0)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, raw.Response(grid))
		}
		for _, band := range bands {
			ratio := 0.0
			for _, hz := range band {
				i, stated, drawn := NearestIndex(grid, hz), 0.0, []float64(nil)
				for _, g := range all {
					stated += sq(g.noiseRelStd(i)) / trials
					drawn = append(drawn, real(g.H[i]))
				}
				ratio += math.Sqrt(stated) / scatterOf(drawn) / float64(len(band))
			}
			t.Logf("noise of %g, %g to %g Hz: %.2f", noise, band[0], band[len(band)-1], ratio)
			// The scatter of 24 is known within 15 %, the mean of four of it or more within 8 %.
			if math.Abs(ratio-1) > 0.25 {
				t.Errorf("noise of %g, %g to %g Hz: stated over drawn is %.2f", noise, band[0], band[len(band)-1], ratio)
			}
		}
	}
}
