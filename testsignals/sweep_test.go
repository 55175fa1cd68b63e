package testsignals

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"pgregory.net/rapid"
)

func sweepSignal(t testing.TB, startHz, stopHz, durationS float64) *Signal {
	t.Helper()
	s := New(Sweep, 48000, -12, durationS).WithoutPilots()
	s.StartHz, s.StopHz = startHz, stopHz
	return generate(t, s)
}

// flat returns the first and last frame of the body where the sweep has its
// full level.
func flat(s Spec) (from, to int) {
	low, high := SweepFlatBand(s)
	l := SweepRate(s)
	from = int(math.Ceil(l * math.Log(low/s.StartHz) * float64(s.RateHz)))
	return from, int(l * math.Log(high/s.StartHz) * float64(s.RateHz))
}

// Novak, Lotton & Simon, JAES 63(10), 2015: f1·L is an integer, so that the
// sweep starts at phase 0, and it is the integer nearest to the length asked
// for.
func TestSweepIsSynchronised(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySpec(t)
		s.Kind = Sweep
		s.StartHz = rapid.Float64Range(1, 1000).Draw(t, "start")
		s.StopHz = rapid.Float64Range(2*s.StartHz, float64(s.RateHz)/2).Draw(t, "stop")
		s.DurationS = rapid.Float64Range(0.5, 20).Draw(t, "duration")
		cycles := s.StartHz * SweepRate(s)
		if d := cycles - math.Round(cycles); math.Abs(d) > 1e-9*cycles || cycles < 0.5 {
			t.Fatalf("f1·L is %g", cycles)
		}
		off := math.Abs(sweepSeconds(s)-s.DurationS) / math.Log(s.StopHz/s.StartHz) * s.StartHz
		if cycles > 1.5 && off > 0.5+1e-9 {
			t.Fatalf("%g s asked for, %g s made: not the nearest", s.DurationS, sweepSeconds(s))
		}
	})
}

// The frequency at t is f1·exp(t/L): the phase between two crossings of zero
// is half a period, so the crossings are at L·ln(1 + n/(2·f1·L)).
func TestSweepCrossesZeroWhereItShould(t *testing.T) {
	sig := sweepSignal(t, 20, 2000, 3)
	l := SweepRate(sig.Spec)
	body := sig.Samples[sig.Body.Start:sig.Body.End]
	from, to := flat(sig.Spec)
	worst, crossings := 0.0, 0
	for i := from; i < to; i++ {
		if (body[i] < 0) == (body[i+1] < 0) {
			continue
		}
		at := (float64(i) + body[i]/(body[i]-body[i+1])) / 48000
		n := math.Round(2 * 20 * l * (math.Exp(at/l) - 1))
		want := l * math.Log(1+n/(2*20*l))
		worst = math.Max(worst, math.Abs(at-want))
		crossings++
	}
	// A chord through a sine of 2 kHz at 48 kHz is off by 0.1 µs at most.
	if worst > 0.2e-6 || crossings < 1000 {
		t.Errorf("%d crossings, worst off by %g s", crossings, worst)
	}
}

// The nth harmonic of the sweep is the sweep itself, L·ln(n) later on: what
// deconvolution separates harmonics by. Novak, Lotton & Simon (2015). With
// T2(x) = 2x²-1 the second harmonic is made from the samples themselves.
func TestSecondHarmonicIsTheSweepAdvanced(t *testing.T) {
	sig := sweepSignal(t, 20, 4000, 4)
	amp, l := sig.Amplitude(), SweepRate(sig.Spec)
	body := sig.Samples[sig.Body.Start:sig.Body.End]
	from, to := flat(sig.Spec)
	advance := l * math.Ln2 * 48000
	worst := 0.0
	for i := from; float64(i)+advance < float64(to-2); i += 7 {
		second := 2*math.Pow(body[i]/amp, 2) - 1 // -cos(2φ) for x = sin φ
		at := float64(i) + advance
		slope := (lagrange(body, at+0.5) - lagrange(body, at-0.5)) / amp
		later := lagrange(body, at) / amp
		// cos² + sin² = 1 of the advanced sweep gives cos(2φ) but for its sign,
		// which is that of the slope.
		cos := math.Copysign(math.Sqrt(math.Max(1-later*later, 0)), slope)
		if math.Abs(later) < 0.9 {
			worst = math.Max(worst, math.Abs(second+cos))
		}
	}
	if worst > 1e-3 {
		t.Errorf("the second harmonic is off by %g of the amplitude", worst)
	}
}

// lagrange interpolates x over six points.
func lagrange(x []float64, at float64) (sum float64) {
	base := int(math.Floor(at)) - 2
	for i := base; i < base+6; i++ {
		w := 1.0
		for j := base; j < base+6; j++ {
			if j != i {
				w *= (at - float64(j)) / float64(i-j)
			}
		}
		sum += w * x[i]
	}
	return sum
}

// Closed form of the spectrum, Novak, Lotton & Simon (2015), by stationary
// phase: X(f) = ½·√(L/f)·exp(j·2π·f·L·(1 - ln(f/f1)) - j·π/4) for a sweep of
// amplitude 1; 3 dB an octave.
func TestSweepSpectrumIsTheClosedForm(t *testing.T) {
	sig := sweepSignal(t, 5, 0.49*48000, 5)
	s, l := sig.Spec, SweepRate(sig.Spec)
	n := 1 << 19
	x := make([]float64, n)
	copy(x, sig.Samples[sig.Body.Start:sig.Body.End])
	fft := fourier.NewFFT(n)
	low, high := SweepFlatBand(s)
	worstDB, worstRad := 0.0, 0.0
	for k, z := range fft.Coefficients(nil, x) {
		f := fft.Freq(k) * 48000
		if f < 3*low || f > 0.97*high {
			continue
		}
		want := cmplx.Rect(0.5*math.Sqrt(l/f)*s.Amplitude(), 2*math.Pi*f*l*(1-math.Log(f/s.StartHz))-math.Pi/4)
		ratio := z / 48000 / want
		worstDB = math.Max(worstDB, math.Abs(20*math.Log10(cmplx.Abs(ratio))))
		worstRad = math.Max(worstRad, math.Abs(cmplx.Phase(ratio)))
	}
	t.Logf("from %.0f to %.0f Hz within %.4f dB and %.5f rad", 3*low, 0.97*high, worstDB, worstRad)
	// The fades are what is left: they are smooth over 3.4 Hz at the low end.
	if worstDB > 0.02 || worstRad > 0.002 {
		t.Errorf("off by %.4f dB, %.5f rad", worstDB, worstRad)
	}
}

// Outside check: scipy.signal.chirp(method='logarithmic') is the same sweep
// where its level is full. Its phase -90° turns its cosine into a sine.
func TestSweepAgainstSciPy(t *testing.T) {
	python := scipy(t)
	for _, c := range []struct{ start, stop, seconds float64 }{{5, 23520, 5}, {20, 20000, 2}, {3, 100, 1}} {
		sig := sweepSignal(t, c.start, c.stop, c.seconds)
		s := sig.Spec
		const script = `
import sys, numpy as np
from scipy.signal import chirp
n, f0, f1, t1 = int(sys.argv[2]), *map(float, sys.argv[3:])
chirp(np.arange(n) / 48000, f0, t1, f1, method='logarithmic', phi=-90).tofile(sys.argv[1])`
		out := filepath.Join(t.TempDir(), "chirp.f8")
		text, err := exec.Command(python, "-c", script, out, fmt.Sprint(sig.Body.Len()),
			fmt.Sprintf("%.17g", s.StartHz), fmt.Sprintf("%.17g", s.StopHz), fmt.Sprintf("%.17g", sweepSeconds(s))).CombinedOutput()
		if err != nil {
			t.Fatalf("scipy: %v\n%s", err, text)
		}
		b, err := os.ReadFile(out)
		if err != nil || len(b) != 8*sig.Body.Len() {
			t.Fatalf("%d bytes, %v", len(b), err)
		}
		from, to := flat(s)
		worst := 0.0
		for i := from; i <= to; i++ {
			want := math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
			worst = math.Max(worst, math.Abs(sig.Samples[sig.Body.Start+i]/s.Amplitude()-want))
		}
		t.Logf("%g to %g Hz: worst deviation %.2g of the amplitude over %d samples", c.start, c.stop, worst, to-from)
		// 1e5 rad of phase in float64.
		if worst > 1e-9 || to-from < 20000 {
			t.Errorf("off by %g over %d samples", worst, to-from)
		}
	}
}

// scipy returns a Python that has SciPy, or skips: never under CI.
func scipy(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(name, "-c", "import scipy.signal").Run() == nil {
			return name
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("python3-scipy is not installed")
	}
	t.Skip("python3-scipy is not installed")
	return ""
}
