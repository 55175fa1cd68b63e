package testsignals

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A Blackman window of N taps has a transition 5.5/N of the rate wide and a
// ripple of 0.0017 dB (Oppenheim & Schafer, table of windows, from memory):
// here 0.057, centred on 0.46.
func TestImpulseIsFlatInItsBandAndHasNoPhase(t *testing.T) {
	x := Impulse()
	if len(x) != 2*ImpulsePeak+1 || math.Abs(x[ImpulsePeak]-1) > 1e-15 {
		t.Fatalf("%d samples, %g at the peak", len(x), x[ImpulsePeak])
	}
	const n = 8192
	fft := fourier.NewFFT(n)
	worst, phase, stop := 0.0, 0.0, 0.0
	for k, z := range fft.Coefficients(nil, append(x, make([]float64, n-len(x))...)) {
		share := fft.Freq(k)
		// A sinc of peak 1 cut off at 0.46 of the rate has gain 1/0.92.
		z *= complex(0.92, 0) * cmplx.Rect(1, 2*math.Pi*share*ImpulsePeak)
		switch {
		case share <= 0.43:
			worst = math.Max(worst, math.Abs(20*math.Log10(cmplx.Abs(z))))
			phase = math.Max(phase, math.Abs(cmplx.Phase(z)))
		case share >= 0.49:
			stop = math.Max(stop, cmplx.Abs(z))
		}
	}
	t.Logf("ripple %.4f dB, phase %.1g rad, beyond 0.49 of the rate %.1f dB", worst, phase, 20*math.Log10(stop))
	if worst > 0.004 || phase > 1e-12 || 20*math.Log10(stop) > -70 {
		t.Errorf("ripple %.4f dB, phase %g rad, beyond 0.49 of the rate %.1f dB", worst, phase, 20*math.Log10(stop))
	}
}

func TestImpulsesAreWhereTheyAreSaidToBe(t *testing.T) {
	s := New(Impulses, 44100, -3, 0)
	sig := generate(t, s)
	starts, period := ImpulseStarts(s)
	if len(starts) != 16 || period != int(math.Round(DefaultPeriodS*44100)) || sig.Body.Len() != 16*period {
		t.Fatalf("%d impulses, %d frames apart, in %d frames", len(starts), period, sig.Body.Len())
	}
	body := sig.Samples[sig.Body.Start:sig.Body.End]
	sum := 0.0
	for _, at := range starts {
		if v := body[at+ImpulsePeak]; math.Abs(v-s.Amplitude()) > 1e-15 {
			t.Errorf("peak at %d is %g", at+ImpulsePeak, v)
		}
	}
	for _, v := range body {
		sum += v * v
	}
	one := 0.0
	for _, v := range Impulse() {
		one += v * v
	}
	if want := 16 * one * s.Amplitude() * s.Amplitude(); math.Abs(sum/want-1) > 1e-12 {
		t.Errorf("energy of the train is %g of 16 impulses", sum/want)
	}
}
