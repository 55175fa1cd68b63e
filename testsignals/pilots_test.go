package testsignals

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// lineAt is the amplitude of a tone at f over the whole of x under a Hann window,
// by the definition of the discrete Fourier transform.
func lineAt(x []float64, rateHz int, f float64) float64 {
	var sum complex128
	weight := 0.0
	for i, v := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		sum += complex(w*v, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(i)/float64(rateHz)))
		weight += w
	}
	return 2 * cmplx.Abs(sum) / weight
}

// What a sweep has more than one without pilots is three steady tones, 26 dB under it,
// and no higher peak.
func TestPilotsAreSteadyTonesUnderTheSweep(t *testing.T) {
	for _, rate := range []int{44100, 96000} {
		s := New(Sweep, rate, -3, 0)
		with, without := generate(t, s), generate(t, s.WithoutPilots())
		smaller := SweepAmplitude(s) / s.Amplitude()
		peak, first := 0.0, true
		rest := make([]float64, with.Body.Len())
		for i, v := range with.Samples {
			peak = math.Max(peak, math.Abs(v))
			if i < with.Body.Start || i >= with.Body.End {
				if v != without.Samples[i] && first {
					t.Errorf("frame %d, outside the body, is another", i)
					first = false
				}
				continue
			}
			rest[i-with.Body.Start] = v - smaller*without.Samples[i]
		}
		if peak > s.Amplitude()*(1+1e-12) {
			t.Errorf("the peak is %g, the amplitude %g", peak, s.Amplitude())
		}
		// From 1 s to 4 s, where the pilots are steady.
		from, to := rate, 4*rate
		whole, want := 0.0, SweepAmplitude(s)*math.Pow(10, -26.0/20)
		for _, f := range []float64{625, 2075, 5375} {
			if got := lineAt(rest[from:to], rate, f); math.Abs(got/want-1) > 1e-6 {
				t.Errorf("the pilot at %g Hz is %g, want %g", f, got, want)
			}
			whole += want * want / 2
		}
		power := 0.0
		for _, v := range rest[from:to] {
			power += v * v / float64(to-from)
		}
		if math.Abs(power/whole-1) > 1e-6 {
			t.Errorf("beside the sweep there is %g of power, the pilots have %g", power, whole)
		}
	}
}

func TestPilotsGoWithTheirFormat(t *testing.T) {
	for words, s := range map[string]Spec{
		"do not go with": func() Spec { s := New(Sweep, 48000, -12, 0); s.Format = SpecFormat; return s }(),
		"below a tone":   func() Spec { s := New(Tone, 48000, -12, 0); s.PilotBelowDB = 26; return s }(),
		"outside 10 to":  func() Spec { s := New(Sweep, 48000, -12, 0); s.PilotBelowDB = 3; return s }(),
		"is not known":   func() Spec { s := New(Sweep, 48000, -12, 0); s.Format = "boardproof-signal/3"; return s }(),
	} {
		if _, err := Generate(s); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%+v: %v, want %q", s, err, words)
		}
	}
}
