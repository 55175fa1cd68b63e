package wavtake

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/capture"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// heard is sig through a lead in white noise of an RMS, as a file of 24 bits.
func heard(t *testing.T, sig *testsignals.Signal, noise float64) (path string, x []float64) {
	t.Helper()
	draw := rand.New(rand.NewPCG(31, 1))
	x = make([]float64, sig.Frames+20000)
	copy(x[9000:], sig.Samples)
	for i := range x {
		x[i] += noise * draw.NormFloat64()
	}
	path = filepath.Join(t.TempDir(), "heard.wav")
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: sig.RateHz, Encoding: wavfile.PCM24, Samples: [][]float64{x}}); err != nil {
		t.Fatal(err)
	}
	return path, x
}

func faultOf(t *testing.T, sig *testsignals.Signal, path string) capture.Fault {
	t.Helper()
	w, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = w.Record(context.Background(), capture.Request{Signal: sig, Inputs: []int{1}, Patch: capture.ToBoard})
	var bad *capture.BadTake
	if err != nil && !errors.As(err, &bad) {
		t.Fatal(err)
	}
	if bad == nil {
		return ""
	}
	t.Logf("%s", bad.Reason)
	return bad.Fault
}

func run(t *testing.T, name string, args ...string) {
	t.Helper()
	if said, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, said)
	}
}

// What other programs make of a recording, SoX and, where it is there, FFmpeg:
// files that went through a lossy codec are named, and files that were dithered
// to 16 bits, filtered or taken to another rate and back are good.
func TestLossyFilesAreNamedAndGoodOnesAreNot(t *testing.T) {
	if testing.Short() {
		t.Skip("codecs of other programs")
	}
	if _, err := exec.LookPath("sox"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("sox is not installed; run .ci/deps")
		}
		t.Skip("sox is not installed; run .ci/deps")
	}
	for _, kind := range []testsignals.Kind{testsignals.Sweep, testsignals.Tone, testsignals.Silence} {
		sig, err := testsignals.Generate(testsignals.New(kind, 48000, -12, 1))
		if err != nil {
			t.Fatal(err)
		}
		path, _ := heard(t, sig, 1e-4)
		dir := filepath.Dir(path)
		at := func(name string) string { return filepath.Join(dir, name) }
		for name, effects := range map[string][]string{
			"as it is": nil, "16 bits, dithered": {"-b", "16", "dither"}, "rate": {"-b", "24", "rate", "-v", "44100", "rate", "-v", "48000"},
			"dull": {"-b", "24", "lowpass", "3000", "lowpass", "6000"}, "16 bits, dull": {"-b", "16", "lowpass", "3000", "lowpass", "6000", "dither"},
		} {
			args := []string{path}
			if len(effects) > 1 {
				args = append(args, effects[:2]...)
				effects = effects[2:]
			}
			run(t, "sox", append(append(args, at("good.wav")), effects...)...)
			if f := faultOf(t, sig, at("good.wav")); f != "" {
				t.Errorf("%s, %s: %s", kind, name, f)
			}
		}
		for _, quality := range []string{"2", "9"} {
			run(t, "sox", path, "-C", quality, at("lossy.ogg"))
			run(t, "sox", at("lossy.ogg"), "-b", "24", at("lossy.wav"))
			if f := faultOf(t, sig, at("lossy.wav")); f != capture.Lossy {
				t.Errorf("%s, Vorbis of quality %s: %q", kind, quality, f)
			}
		}
		if _, err := exec.LookPath("ffmpeg"); err != nil {
			continue
		}
		for _, c := range [][3]string{{"libmp3lame", "96k", "mp3"}, {"libmp3lame", "320k", "mp3"}, {"aac", "96k", "m4a"}, {"libopus", "96k", "opus"}, {"libopus", "192k", "opus"}} {
			run(t, "ffmpeg", "-y", "-loglevel", "error", "-i", path, "-c:a", c[0], "-b:a", c[1], at("lossy."+c[2]))
			for _, pcm := range []string{"pcm_s16le", "pcm_f32le"} {
				run(t, "ffmpeg", "-y", "-loglevel", "error", "-i", at("lossy."+c[2]), "-ac", "1", "-ar", "48000", "-c:a", pcm, at("lossy.wav"))
				if f := faultOf(t, sig, at("lossy.wav")); f != capture.Lossy {
					t.Errorf("%s, %s at %s, decoded to %s: %q", kind, c[0], c[1], pcm, f)
				}
			}
		}
	}
}

// One file with the signal in it twice, a silence in which the last of 16 bits
// toggles, a tone rounded to 16 bits without dither: each is named.
func TestFilesThatHoldTooMuchOrTooLittle(t *testing.T) {
	make1 := func(kind testsignals.Kind) *testsignals.Signal {
		sig, err := testsignals.Generate(testsignals.New(kind, 48000, -12, 1))
		if err != nil {
			t.Fatal(err)
		}
		return sig
	}
	tone, silence := make1(testsignals.Tone), make1(testsignals.Silence)
	write := func(encoding wavfile.Encoding, x []float64) string {
		path := filepath.Join(t.TempDir(), "x.wav")
		if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: 48000, Encoding: encoding, Samples: [][]float64{x}}); err != nil {
			t.Fatal(err)
		}
		return path
	}
	rounded := func(x []float64) []float64 {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = math.Round(v*(1<<15)) / (1 << 15)
		}
		return y
	}
	_, first := heard(t, tone, 1e-5)
	draw := rand.New(rand.NewPCG(31, 2))
	second := make([]float64, len(first))
	for i, v := range first {
		second[i] = 0.9*v + 1e-5*draw.NormFloat64()
	}
	_, still := heard(t, silence, 0)
	for i := range still {
		still[i] += float64(draw.IntN(20)/19) / (1 << 15)
	}
	_, clean := heard(t, tone, 2e-6)
	_, noisy := heard(t, tone, 2e-5)
	dithered := make([]float64, len(clean))
	for i, v := range clean {
		dithered[i] = v + (draw.Float64()-draw.Float64())/(1<<15)
	}
	for name, c := range map[string]struct {
		sig  *testsignals.Signal
		path string
		want capture.Fault
	}{
		"twice":            {tone, write(wavfile.PCM24, append(append([]float64{}, first...), second...)), capture.WrongRecording},
		"once":             {tone, write(wavfile.PCM24, first), ""},
		"last bit":         {silence, write(wavfile.Float32, rounded(still)), capture.TooCoarse},
		"no dither":        {tone, write(wavfile.Float32, rounded(clean)), capture.TooCoarse},
		"noise for dither": {tone, write(wavfile.Float32, rounded(noisy)), ""},
		"dithered":         {tone, write(wavfile.Float32, rounded(dithered)), ""},
	} {
		if f := faultOf(t, c.sig, c.path); f != c.want {
			t.Errorf("%s: %q, want %q", name, f, c.want)
		}
	}
}
