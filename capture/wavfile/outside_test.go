package wavfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/mjibson/go-dsp/wav"
)

// need returns the first of the programs that works, or skips: never under CI.
func need(t *testing.T, what string, tries ...[]string) []string {
	t.Helper()
	for _, try := range tries {
		if exec.Command(try[0], try[1:]...).Run() == nil {
			return try[:1]
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is not installed", what)
	}
	t.Skipf("%s is not installed", what)
	return nil
}

func python(t *testing.T) string {
	probe := []string{"-c", "import scipy.io.wavfile"}
	return need(t, "python3-scipy", append([]string{"/usr/bin/python3"}, probe...), append([]string{"python3"}, probe...))[0]
}

func run(t *testing.T, name string, args ...string) {
	t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
}

// codes returns random samples that the encoding holds exactly.
func codes(e Encoding, channels, frames int) *Audio {
	draw := rand.New(rand.NewPCG(7, uint64(channels)))
	a := &Audio{RateHz: 44100, Encoding: e, Samples: make([][]float64, channels)}
	for c := range a.Samples {
		a.Samples[c] = make([]float64, frames)
		for i := range a.Samples[c] {
			v := 2*draw.Float64() - 1
			if e.isFloat() {
				a.Samples[c][i] = float64(float32(v))
			} else {
				a.Samples[c][i] = math.Trunc(v*pcmScale(e)) / pcmScale(e)
			}
		}
	}
	return a
}

// rawDoubles reads interleaved little-endian float64.
func rawDoubles(t *testing.T, path string, channels int) [][]float64 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	x := make([][]float64, channels)
	for i := 0; i+8 <= len(b); i += 8 {
		c := i / 8 % channels
		x[c] = append(x[c], math.Float64frombits(binary.LittleEndian.Uint64(b[i:])))
	}
	return x
}

// Outside check: scipy.io.wavfile reads what this package writes, and this
// package reads what scipy writes, code for code.
func TestAgainstSciPy(t *testing.T) {
	py := python(t)
	// SciPy returns 24-bit samples shifted up into int32.
	const reading = `
import sys, numpy as np, scipy.io.wavfile as w
rate, x = w.read(sys.argv[1])
assert rate == 44100, rate
full = {'int16': 2.0**15, 'int32': 2.0**31, 'float32': 1.0}[x.dtype.name]
(x.astype('f8') / full).tofile(sys.argv[2])`
	for _, e := range []Encoding{PCM16, PCM24, Float32} {
		for _, channels := range []int{1, 2, 3} {
			a := codes(e, channels, 501)
			in, out := filepath.Join(t.TempDir(), "a.wav"), filepath.Join(t.TempDir(), "a.f8")
			if err := WriteFile(in, a); err != nil {
				t.Fatal(err)
			}
			run(t, py, "-W", "error", "-c", reading, in, out)
			if d := cmp.Diff(a.Samples, rawDoubles(t, out, channels)); d != "" {
				t.Errorf("%s, %d channels: %s", e, channels, d)
			}
		}
	}
	const writing = `
import sys, numpy as np, scipy.io.wavfile as w
n = np.arange(1000); x = np.stack([(n * 65521 % 60013 - 30000), n - 500], 1) / 32768
full = {'int16': 2**15, 'int32': 2**31, 'float32': 1, 'float64': 1}[sys.argv[3]]
w.write(sys.argv[1], 96000, (x * full).astype(sys.argv[3])); x.tofile(sys.argv[2])`
	for _, dtype := range []string{"int16", "int32", "float32", "float64"} {
		in, want := filepath.Join(t.TempDir(), "b.wav"), filepath.Join(t.TempDir(), "b.f8")
		run(t, py, "-c", writing, in, want, dtype)
		a, err := ReadFile(in)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(rawDoubles(t, want, 2), a.Samples); d != "" || a.RateHz != 96000 {
			t.Errorf("%s: %s", dtype, d)
		}
	}
}

// Outside check: sox reads and writes the same codes, its 24-bit files being
// WAVE_FORMAT_EXTENSIBLE.
func TestAgainstSox(t *testing.T) {
	sox := need(t, "sox", []string{"sox", "--version"})[0]
	for _, e := range []Encoding{PCM16, PCM24, Float32} {
		a := codes(e, 2, 777)
		dir := t.TempDir()
		ours, theirs := filepath.Join(dir, "ours.wav"), filepath.Join(dir, "theirs.wav")
		if err := WriteFile(ours, a); err != nil {
			t.Fatal(err)
		}
		as := map[Encoding][]string{PCM16: {"-b", "16"}, PCM24: {"-b", "24"}, Float32: {"-b", "32", "-e", "floating-point"}}[e]
		run(t, sox, append(append([]string{"-D", ours}, as...), theirs)...)
		b, err := ReadFile(theirs)
		if err != nil {
			t.Fatal(err)
		}
		// Sox works in 32-bit integers: floats come back to within half a step.
		worst := 0.0
		for c := range a.Samples {
			for i, v := range a.Samples[c] {
				worst = math.Max(worst, math.Abs(v-b.Samples[c][i]))
			}
		}
		allowed := 0.0
		if e == Float32 {
			allowed = 1.0 / (1 << 24)
		}
		if b.Encoding != e || b.Frames() != a.Frames() || worst > allowed {
			t.Errorf("%s came back as %s, %d frames, off by %g", e, b.Encoding, b.Frames(), worst)
		}
	}
}

// Outside check: go-dsp's reader finds the same codes. It reads 16-bit PCM
// and 32-bit float only.
func TestAgainstGoDSP(t *testing.T) {
	for _, e := range []Encoding{PCM16, Float32} {
		a := codes(e, 2, 300)
		w, err := wav.New(bytes.NewReader(encoded(t, a)))
		if err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprint(w.NumChannels, w.SampleRate, w.Samples); got != "2 44100 600" {
			t.Errorf("%s: go-dsp sees %s", e, got)
		}
		s, err := w.ReadSamples(600)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 600 {
			want := a.Samples[i%2][i/2]
			var got float64
			switch s := s.(type) {
			case []int16:
				got = float64(s[i]) / 32768
			case []float32:
				got = float64(s[i])
			}
			if got != want {
				t.Fatalf("%s sample %d: go-dsp %g, written %g", e, i, got, want)
			}
		}
	}
}
