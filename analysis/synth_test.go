package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"boardproof/testsignals"
)

// through passes x through a response given in closed form, exactly: by
// multiplication in the frequency domain, zero-padded for the ringing.
func through(x []float64, rateHz float64, h func(f float64) complex128) []float64 {
	n := fastLength(2 * len(x))
	buf := make([]float64, n)
	copy(buf, x)
	fft := fourier.NewFFT(n)
	c := fft.Coefficients(nil, buf)
	for k := range c {
		c[k] *= h(float64(k) * rateHz / float64(n))
	}
	c[len(c)-1] = complex(real(c[len(c)-1]), 0)
	y := fft.Sequence(nil, c)
	for i := range y {
		y[i] /= float64(n)
	}
	return y[:len(x)]
}

func lowPass(fc float64) func(float64) complex128 {
	return func(f float64) complex128 { return 1 / complex(1, f/fc) }
}

func highPass(fc float64) func(float64) complex128 {
	return func(f float64) complex128 { return complex(0, f/fc) / complex(1, f/fc) }
}

func delayed(s float64) func(float64) complex128 {
	return func(f float64) complex128 { return cis(-2 * math.Pi * f * s) }
}

func chain(hs ...func(float64) complex128) func(float64) complex128 {
	return func(f float64) complex128 {
		z := complex128(1)
		for _, h := range hs {
			z *= h(f)
		}
		return z
	}
}

func gainOf(g float64) func(float64) complex128 {
	return func(float64) complex128 { return complex(g, 0) }
}

func addNoise(x []float64, rms float64, rng *rand.Rand) {
	for i := range x {
		x[i] += rms * rng.NormFloat64()
	}
}

// padded is the samples of sig with silence before and after.
func padded(sig *testsignals.Signal, before, after int) []float64 {
	x := make([]float64, before+sig.Frames+after)
	copy(x[before:], sig.Samples)
	return x
}

func mustSignal(t testing.TB, s testsignals.Spec) *testsignals.Signal {
	t.Helper()
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}
