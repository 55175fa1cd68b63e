package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// addTone adds a sine of peak amplitude a and a phase in radians.
func addTone(x []float64, hz, rateHz, a, phase float64) {
	for i := range x {
		x[i] += a * math.Sin(2*math.Pi*hz*float64(i)/rateHz+phase)
	}
}

// scatterOf is the sample standard deviation.
func scatterOf(x []float64) float64 {
	sum, sum2, n := 0.0, 0.0, float64(len(x))
	for _, v := range x {
		sum, sum2 = sum+v, sum2+v*v
	}
	return math.Sqrt((sum2 - sum*sum/n) / (n - 1))
}

// A tone in one output, at another phase each time, makes a match scatter as it is
// stated: on a point of the grid in the level there, and between two of them in the
// delay, which is read more densely. Monte Carlo; noise around says nothing of either.
func TestTonesAreInTheNoiseOfASweep(t *testing.T) {
	const rateHz, trials = 48000.0, 24
	sig := mustSignal(t, testsignals.New(testsignals.Sweep, rateHz, -20, 1))
	played, err := NewPlayed(sig)
	if err != nil {
		t.Fatal(err)
	}
	grid := Grid(rateHz)
	at := NearestIndex(grid, 1000)
	between := math.Sqrt(grid[NearestIndex(grid, 4800)] * grid[NearestIndex(grid, 4800)+1])
	read := func(hz, tone float64, rng *rand.Rand) (*Raw, *Gated) {
		x := padded(sig, 0, 3000)
		addNoise(x, 1e-6, rng)
		addTone(x, hz, rateHz, tone, 2*math.Pi*rng.Float64())
		raw, err := played.Deconvolve(x, 0)
		if err != nil {
			t.Fatal(err)
		}
		return raw, raw.Response(grid)
	}
	for name, hz := range map[string]float64{"level at 1 kHz": grid[at], "delay": between} {
		rng := rand.New(rand.NewPCG(4, uint64(hz)))
		reference, referenceResponse := read(hz, 0, rng)
		var values []float64
		stated := 0.0
		for range trials {
			raw, response := read(hz, 3e-4, rng)
			s, err := CompareOutputs(raw, reference, response, referenceResponse, BenchInput{}, BenchInput{})
			if err != nil {
				t.Fatal(err)
			}
			value, budget := s.Delay()
			if hz == grid[at] {
				m := s.Level()
				value, budget = m.DB[at], m.Budget(at)
			}
			values = append(values, value)
			stated += sq(budget.typeAStd()) / trials
		}
		ratio := math.Sqrt(stated) / scatterOf(values)
		t.Logf("%s: stated over actual %.2f, scatter %.2g", name, ratio, scatterOf(values))
		// The scatter of 24 is known within 15 %.
		if ratio < 0.6 || ratio > 1.6 {
			t.Errorf("%s: stated over actual uncertainty is %.2f", name, ratio)
		}
	}
}

// The bench's own hum at another phase each time makes THD+N scatter as it is stated.
func TestBenchHumIsInTHDN(t *testing.T) {
	const rateHz, trials, board, bench = 48000, 24, 1e-3, 2e-4
	sig := mustSignal(t, testsignals.New(testsignals.Tone, rateHz, -20, 1))
	rng := rand.New(rand.NewPCG(6, 1))
	floor := Floor{MainsHz: 50, Harmonics: make([]Estimate, 40)}
	floor.Harmonics[2].Value = bench / math.Sqrt2
	var values []float64
	stated := 0.0
	for range trials {
		x := padded(sig, 300, 3000)
		addNoise(x, 1e-6, rng)
		addTone(x, 50, rateHz, 1e-4, 0)
		addTone(x, 150, rateHz, board, 0)
		addTone(x, 150, rateHz, bench, 2*math.Pi*rng.Float64())
		rec := &Recording{Signal: sig, RateHz: rateHz, OffsetFrames: 300, Samples: [][]float64{x}, Outputs: []string{"A"},
			Bench: []BenchInput{{VoltsPerUnit: 1, Floor: &floor}}}
		res, err := ToneResult(rec)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range res.Readings {
			if r.Quantity == THDN {
				values, stated = append(values, r.Value), stated+sq(r.Budget.Std())/trials
			}
		}
	}
	if len(values) != trials {
		t.Fatalf("%d readings of THD+N", len(values))
	}
	ratio := math.Sqrt(stated) / scatterOf(values)
	t.Logf("stated over actual %.2f, %.4f %% scatter by %.2g", ratio, values[0], scatterOf(values))
	if ratio < 0.7 || ratio > 1.4 {
		t.Errorf("stated over actual uncertainty is %.2f", ratio)
	}
}
