package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// realMains is the phase in radians and the relative amplitude of the mains as
// it was, at each frame of 48 kHz: the fundamental of a record of 400 Hz, moved
// to 0 Hz and averaged over five cycles.
func realMains(t *testing.T, number int, fromS, lengthS float64) (phase, amp []float64) {
	t.Helper()
	files, err := filepath.Glob("testdata/mains/*.wav")
	if err != nil || len(files) == 0 {
		t.Fatalf("no records of the mains: %v", err)
	}
	file, err := os.ReadFile(files[number%len(files)])
	if err != nil {
		t.Fatal(err)
	}
	_, data, ok := bytes.Cut(file, []byte("data"))
	if !ok || len(data) < 4 {
		t.Fatalf("%s holds no samples", files[number%len(files)])
	}
	var x []float64
	for data = data[4:]; len(data) > 1; data = data[2:] {
		x = append(x, float64(int16(binary.LittleEndian.Uint16(data))))
	}
	const rate, half = 400.0, 20
	base := make([]complex128, len(x))
	for i := half; i+half < len(x); i++ {
		for k := -half; k <= half; k++ {
			w := 0.5 + 0.5*math.Cos(math.Pi*float64(k)/(half+1))
			base[i] += complex(w*x[i+k], 0) * cmplx.Rect(1, -2*math.Pi*50*float64(i+k)/rate)
		}
	}
	turned, level := make([]float64, len(x)), make([]float64, len(x))
	for i := half; i < len(x)-half; i++ {
		level[i] = cmplx.Abs(base[i])
		turned[i] = cmplx.Phase(base[i])
		if i > half {
			turned[i] -= 2 * math.Pi * math.Round((turned[i]-turned[i-1])/(2*math.Pi))
		}
	}
	n := int(lengthS * spiceRate)
	for i := range n {
		at := (0.5 + fromS + float64(i)/spiceRate) * rate
		k := int(at)
		if k+1 >= len(x)-half {
			t.Fatalf("the record is too short for %g s from %g s", lengthS, fromS)
		}
		u := at - float64(k)
		phase = append(phase, 2*math.Pi*50*at/rate+turned[k]*(1-u)+turned[k+1]*u)
		amp = append(amp, (level[k]*(1-u)+level[k+1]*u)/level[half])
	}
	return phase, amp
}

const spiceRate = 48000.0

// waves makes waveforms that go with the mains' phase.
type waves struct {
	ripple, current, half []float64
}

func newWaves(t *testing.T) *waves {
	w := &waves{}
	w.ripple, w.current = spicePower(t, false)
	w.half, _ = spicePower(t, true)
	return w
}

// flattened is what an installation's voltage has beside its fundamental: some
// per cent of the low odd harmonics, within EN 50160's limits, from memory.
var flattened = []struct{ n, share, rad float64 }{{3, 0.012, 2.8}, {5, 0.022, 0.5}, {7, 0.013, 3.4}, {9, 0.003, 1}, {11, 0.006, 4}, {13, 0.004, 2}, {17, 0.002, 5}, {19, 0.0015, 0.3}}

// of is a waveform, at no level in particular.
func (w *waves) of(name string, phase, amp []float64, rng *rand.Rand) []float64 {
	out := make([]float64, len(phase))
	cycle := func(wave []float64, rad float64) float64 {
		u := rad/(2*math.Pi) - math.Floor(rad/(2*math.Pi))
		at := u * float64(len(wave))
		k := int(at)
		return wave[k%len(wave)]*(1-at+float64(k)) + wave[(k+1)%len(wave)]*(at-float64(k))
	}
	tone := func(hz, wanders float64, harmonics ...float64) {
		p, f := 2*math.Pi*rng.Float64(), hz
		for i := range out {
			f += wanders * rng.NormFloat64() / math.Sqrt(spiceRate)
			p += 2 * math.Pi * f / spiceRate
			for n, share := range harmonics {
				out[i] += share * math.Sin(float64(n+1)*p)
			}
		}
	}
	switch name {
	case "whine":
		tone(3170, 0.3, 1, 0.3, 0.1)
		return out
	case "whine2":
		tone(4410, 0.1, 1, 0.2)
		return out
	case "clock":
		// USB's frames, 1000 a second (USB 2.0, from memory), as narrow pulses.
		for n := 1; n <= 20; n++ {
			hz := 1000 * float64(n) * (1 + 37e-6)
			for i := range out {
				out[i] += math.Sin(math.Pi*float64(n)*0.06) / (math.Pi * float64(n) * 0.06) * math.Cos(2*math.Pi*hz*float64(i)/spiceRate)
			}
		}
		return out
	}
	for i, p := range phase {
		sine := math.Sin(p)
		for _, h := range flattened {
			sine += h.share * math.Sin(h.n*p+h.rad)
		}
		switch name {
		case "mains":
			out[i] = sine
		case "pulses":
			out[i] = cycle(w.current, p)
		case "earth":
			out[i] = sine + 0.5*cycle(w.current, p+0.3)
		case "coil":
			// A transformer near saturation draws peaks at the voltage's zeros.
			out[i] = -math.Cos(p) - 0.25*math.Cos(3*p+0.2) - 0.08*math.Cos(5*p) - 0.03*math.Cos(7*p) - 0.01*math.Cos(9*p)
		case "ripple":
			out[i] = cycle(w.ripple, p)
		case "half":
			out[i] = cycle(w.half, p)
		case "dimmer":
			if u := math.Mod(p, math.Pi); u > 1.2 {
				// The edge takes tens of microseconds, as its choke lets it.
				out[i] = sine * (1 - math.Exp(-(u-1.2)/(2*math.Pi*50)/40e-6))
			}
		}
		out[i] *= amp[i]
	}
	return out
}

// through is a waveform behind a transfer function, each given as far as it goes.
func through(x []float64, freqHz []float64, h []complex128) []float64 {
	fft := fourier.NewFFT(len(x))
	bins := fft.Coefficients(nil, x)
	step := freqHz[1] - freqHz[0]
	for k := range bins {
		at := float64(k)*spiceRate/float64(len(x))/step - freqHz[0]/step
		switch i := int(at); {
		case at < 0:
			bins[k] = 0
		case i+1 < len(h):
			u := complex(at-float64(i), 0)
			bins[k] *= h[i]*(1-u) + h[i+1]*u
		default:
			bins[k] *= h[len(h)-1]
		}
	}
	out := fft.Sequence(nil, bins)
	for i := range out {
		out[i] /= float64(len(x))
	}
	return out
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / math.Max(1, float64(len(x))))
}

// middle leaves out the ends, where a transform wraps round.
func middle(x []float64, s float64) []float64 {
	n := int(s * spiceRate)
	return slices.Clone(x[n : len(x)-n])
}
