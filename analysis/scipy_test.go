package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"testing"

	"boardproof/analysis/internal/scipytest"
	"boardproof/testsignals"
)

// scipyFile runs testdata/name with x, and with p as a dictionary of that name.
func scipyFile(t *testing.T, name string, x []float64, p map[string]any) []float64 {
	t.Helper()
	script, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return scipytest.Run(t, x, p, string(script))
}

// The same recording divided, gated and read in NumPy by the other road: there
// the gate is a window over the impulse response in time.
func TestOutsideDeconvolutionAgreesWithNumPy(t *testing.T) {
	h := chain(lowPass(14000), highPass(7), gainOf(-0.8), delayed(31.7e-6))
	rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 0), 1e-5, 11, h)
	for i := range rec.Samples[0] {
		rec.Samples[0][i] += 3e-4 // a converter's offset
	}
	played, err := NewPlayed(rec.Signal)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := played.Deconvolve(rec.Samples[0], rec.OffsetFrames)
	if err != nil {
		t.Fatal(err)
	}
	var grid []float64
	for i, f := range Grid(rec.RateHz) {
		if i%7 == 0 {
			grid = append(grid, f)
		}
	}
	var gates [][]float64
	for _, f := range grid {
		g, reach := gateFor(f)
		gates = append(gates, []float64{g.from, g.to, reach})
	}
	got := raw.Response(grid)
	want := scipyFile(t, "deconvolution.py", append(append([]float64{}, rec.Signal.Samples...), rec.Samples[0]...), map[string]any{
		"rate": rec.RateHz, "frames": rec.Signal.Frames, "arrival": int(rec.OffsetFrames),
		"start": played.seg.Start, "end": played.seg.End, "body": rec.Signal.Body.Start, "length": len(played.buf),
		"grid": grid, "gates": gates, "taper": sharpTaper,
	})
	if len(want) != 2*len(grid)+2 {
		t.Fatalf("NumPy gave %d figures for %d frequencies", len(want), len(grid))
	}
	worst, at := 0.0, 0.0
	for i, f := range grid {
		z := complex(want[2*i], want[2*i+1])
		if off := cmplx.Abs(got.H[i]-z) / cmplx.Abs(z); off > worst {
			worst, at = off, f
		}
	}
	ripple, leak := want[2*len(grid)], want[2*len(grid)+1]
	t.Logf("%d frequencies: worst relative deviation %.2g at %.0f Hz; the gate in time: ripple %.2g, leak %.2g", len(grid), worst, at, ripple, leak)
	if worst > 1e-6 {
		t.Errorf("off by %g of it at %g Hz", worst, at)
	}
	// As the comment on sharpTaper says.
	if ripple > 4e-4 || leak > 1e-4 {
		t.Errorf("the gate's height varies by %g inside, it lets in %g outside", ripple, leak)
	}
}

// scipy.optimize.least_squares with the same four parameters (IEEE Std 1057)
// on the same samples.
func TestOutsideSineFitAgreesWithSciPy(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 57))
	worstA, worstF := 0.0, 0.0
	for _, c := range []struct {
		frames                        int
		freqHz, amp, phase, dc, noise float64
	}{{4096, 1000.37, 0.5, 1.2, 0.01, 1e-3}, {20000, 997.01, 0.02, -2.9, -0.1, 1e-4}, {48000, 19997.3, 0.9, 0.1, 0, 1e-2}, {9600, 50.02, 0.25, 3, 0.001, 1e-3}} {
		x := sine(c.frames, 48000, c.freqHz, c.amp, c.phase)
		addNoise(x, c.noise, rng)
		for i := range x {
			x[i] += c.dc
		}
		near := c.freqHz + 0.2*48000/float64(c.frames)
		fit, err := FitTone([][]float64{x}, 48000, near, 1)
		if err != nil {
			t.Fatal(err)
		}
		want := scipyFile(t, "sinefit.py", x, map[string]any{"rate": 48000, "near": near})
		a := math.Abs(fit.Channels[0].Amplitude[0]/want[0] - 1)
		f := math.Abs(fit.FrequencyHz.Value/want[1] - 1)
		worstA, worstF = math.Max(worstA, a), math.Max(worstF, f)
		if a > 1e-6 || f > 1e-6 || math.Abs(fit.Channels[0].Offset-want[2]) > 1e-6*c.amp {
			t.Errorf("%g Hz: amplitude %.9g, frequency %.9g Hz, offset %.9g; SciPy has %.9g", c.freqHz,
				fit.Channels[0].Amplitude[0], fit.FrequencyHz.Value, fit.Channels[0].Offset, want)
		}
	}
	t.Logf("worst relative deviation: amplitude %.2g, frequency %.2g", worstA, worstF)
}
