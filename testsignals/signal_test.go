package testsignals

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"pgregory.net/rapid"
)

func generate(t testing.TB, s Spec) *Signal {
	t.Helper()
	sig, err := Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}

// Whatever the Spec: parts follow each other without overlap, nothing is
// louder than the body may be, between the parts there is silence, and the
// same Spec gives the same samples.
func TestEverySignalKeepsItsLayout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySpec(t)
		sig, err := Generate(s)
		if err != nil {
			t.Fatal(err)
		}
		l := sig.Layout
		parts := []Span{l.RunIn, l.Marks[0], l.Marks[1], l.Lead, l.Body, l.Tail, l.Marks[2], l.Marks[3]}
		at := 0
		for i, p := range parts {
			if p.Start < at || p.Len() <= 0 {
				t.Fatalf("part %d is %+v, the one before ends at %d", i, p, at)
			}
			at = p.End
		}
		if l.Frames < at || len(sig.Samples) != l.Frames || l.RunInFlat.Len() <= 0 {
			t.Fatalf("%d samples, layout %+v", len(sig.Samples), l)
		}
		if pair := l.Marks[1].Start - l.Marks[0].Start; pair != l.Marks[3].Start-l.Marks[2].Start || pair != int(math.Round(0.15*float64(s.RateHz))) {
			t.Fatalf("pairs are not alike: %+v", l.Marks)
		}
		checkSamples(t, sig, parts)
		again, err := Generate(s)
		if err != nil || !slices.Equal(sig.Samples, again.Samples) {
			t.Fatalf("made again it is another: %v", err)
		}
	})
}

func checkSamples(t *rapid.T, sig *Signal, parts []Span) {
	l, amp := sig.Layout, sig.Amplitude()
	loud := make([]bool, l.Frames)
	for _, p := range parts {
		silent := p == l.Lead || p == l.Tail || p == l.Body && sig.Kind == Silence
		for i := p.Start; i < p.End && !silent; i++ {
			loud[i] = true
		}
	}
	for i, v := range sig.Samples {
		if !(math.Abs(v) <= amp*(1+1e-12)) || !loud[i] && v != 0 {
			t.Fatalf("sample %d is %g, the body's amplitude is %g", i, v, amp)
		}
	}
	// A step at an edge would be heard, and would be a click in the reading.
	for _, p := range parts {
		if edge := math.Max(math.Abs(sig.Samples[p.Start]), math.Abs(sig.Samples[p.End-1])); edge > 0.02*amp {
			t.Fatalf("%+v begins or ends at %g of the amplitude", p, edge/amp)
		}
	}
}

func TestRunInIs12dBBelowTheBody(t *testing.T) {
	for _, rate := range []int{44100, 48000, 192000} {
		sig := generate(t, New(Tone, rate, -7, 1))
		// Over whole periods of 1 kHz, 99 of them at 44.1 kHz too.
		n := 99 * rate / 1000
		power := 0.0
		for _, v := range sig.Samples[sig.RunInFlat.Start:][:n] {
			power += v * v / float64(n)
		}
		// 0 dBFS is a sine of peak 1, power 1/2: AES17.
		if db := 10 * math.Log10(2*power); math.Abs(db-(-7-12)) > 0.01 {
			t.Errorf("%d Hz: run-in at %.4f dBFS, want -19", rate, db)
		}
	}
}

func TestMarksPeak3dBBelowTheBody(t *testing.T) {
	sig := generate(t, New(Silence, 192000, -20, 1))
	for _, m := range sig.Marks {
		peak := 0.0
		for _, v := range sig.Samples[m.Start:m.End] {
			peak = math.Max(peak, math.Abs(v))
		}
		if db := 20 * math.Log10(peak); math.Abs(db+23) > 0.1 {
			t.Errorf("mark at %d peaks at %.2f dBFS, want -23", m.Start, db)
		}
	}
}

func TestToneHasItsLevelAndFrequency(t *testing.T) {
	s := New(Tone, 48000, -6.5, 1.1)
	s.FrequencyHz = 997
	sig := generate(t, s)
	// One second inside the ramps holds 997 whole periods.
	x := sig.Samples[sig.Body.Start+2400:][:48000]
	var re, im, power float64
	for i, v := range x {
		sin, cos := math.Sincos(2 * math.Pi * 997 * float64(i) / 48000)
		re, im, power = re+v*cos, im+v*sin, power+v*v
	}
	amp := 2 * math.Hypot(re, im) / 48000
	if d := amp - math.Pow(10, -6.5/20); math.Abs(d) > 1e-12 {
		t.Errorf("amplitude is off by %g", d)
	}
	if rest := power/48000 - amp*amp/2; math.Abs(rest) > 1e-13 {
		t.Errorf("there is %g beside the tone", rest)
	}
}

func TestMarkIsOneNarrowPeakInItsBand(t *testing.T) {
	for _, rate := range []int{44100, 48000, 96000, 192000} {
		m := Mark(rate)
		peak := 0.0
		for _, v := range m {
			peak = math.Max(peak, math.Abs(v))
		}
		if peak > 1 || peak < 0.97 {
			t.Errorf("%d Hz: peak %g", rate, peak)
		}
		n := 1 << 15
		fft := fourier.NewFFT(n)
		c := fft.Coefficients(nil, append(m, make([]float64, n-len(m))...))
		in, all := 0.0, 0.0
		for k, z := range c {
			e := real(z)*real(z) + imag(z)*imag(z)
			c[k] = complex(e, 0)
			all += e
			if f := fft.Freq(k) * float64(rate); f >= 300 && f <= 6000 {
				in += e
			}
		}
		if in/all < 0.999 {
			t.Errorf("%d Hz: only %.4f of the energy is from 300 to 6000 Hz", rate, in/all)
		}
		r := fft.Sequence(nil, c)
		worst := 0.0
		for lag := rate / 1000; lag <= rate/50; lag++ {
			worst = math.Max(worst, math.Abs(r[lag])/r[0])
		}
		if worst > 0.02 {
			t.Errorf("%d Hz: autocorrelation reaches %.3f beyond 1 ms", rate, worst)
		}
	}
}
