package wavtake

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boardproof/capture"
	"boardproof/capture/instrumenttest"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"

	"github.com/google/go-cmp/cmp"
)

// tone is a signal whose spectrum ends far below half the rate, so that a
// simple interpolation is true to it.
func tone(t *testing.T, rateHz int) *testsignals.Signal {
	t.Helper()
	s := testsignals.New(testsignals.Tone, rateHz, -12, 1)
	s.LeadS, s.TailS = 0.1, 0.2
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}

// at returns the signal at a fractional frame: a sinc of 40 frames each side
// under a window of cos³.
func at(sig *testsignals.Signal, frame float64) (sum float64) {
	const half = 40
	base := math.Floor(frame)
	for k := int(base) - half + 1; k <= int(base)+half; k++ {
		if k < 0 || k >= sig.Frames {
			continue
		}
		d := frame - float64(k)
		if d == 0 {
			return sig.Samples[k]
		}
		sum += sig.Samples[k] * math.Sin(math.Pi*d) / (math.Pi * d) * math.Pow(math.Cos(math.Pi*d/(2*half)), 3)
	}
	return sum
}

// recording is sig as another recorder heard it, on two channels.
func recording(sig *testsignals.Signal, offset, ppm, noise float64, after int) [][]float64 {
	draw := rand.New(rand.NewPCG(1, 1))
	stretch := 1 + ppm*1e-6
	x := [][]float64{make([]float64, int(offset+stretch*float64(sig.Frames))+after), nil}
	x[1] = make([]float64, len(x[0]))
	for i := range x[0] {
		v := at(sig, (float64(i)-offset)/stretch)
		x[0][i] = v + noise*draw.NormFloat64()
		x[1][i] = -0.5*v + noise*draw.NormFloat64()
	}
	return x
}

func open(t *testing.T, rateHz int, x [][]float64) *Wavtake {
	t.Helper()
	path := filepath.Join(t.TempDir(), "rec.wav")
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: rateHz, Encoding: wavfile.Float32, Samples: x}); err != nil {
		t.Fatal(err)
	}
	w, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func request(sig *testsignals.Signal) capture.Request {
	return capture.Request{Signal: sig, Inputs: []int{1, 2}, Outputs: []int{1}, Patch: capture.ToBoard}
}

func TestContractOfAnInstrument(t *testing.T) {
	s := testsignals.New(testsignals.Tone, 48000, -12, 0.3)
	s.LeadS, s.TailS = 0.1, 0.1
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	x := recording(sig, 30000.4, 55, 1e-5, 9000)
	instrumenttest.Run(t, func(t *testing.T) capture.Instrument { return open(t, 48000, x) },
		instrumenttest.Options{Signal: sig, Playback: true})
}

// The clock error must come out as it was put in, and the samples as if it
// had not been there.
func TestClockErrorIsFoundAndRemoved(t *testing.T) {
	if testing.Short() {
		t.Skip("long recordings")
	}
	for _, c := range []struct {
		rateHz int
		ppm    float64
	}{{48000, 87.5}, {44100, -251}, {96000, 3.2}} {
		sig := tone(t, c.rateHz)
		w := open(t, c.rateHz, recording(sig, 1.3*float64(c.rateHz)+0.4, c.ppm, 1e-6, 5000))
		take, err := w.Record(context.Background(), request(sig))
		if err != nil {
			t.Fatal(err)
		}
		if d := take.ClockError.PPM - c.ppm; math.Abs(d) > 4*take.ClockError.StdPPM || take.ClockError.StdPPM > 0.01 {
			t.Errorf("%g ppm found as %g ± %g", c.ppm, take.ClockError.PPM, take.ClockError.StdPPM)
		}
		p, err := capture.Check(take, sig, capture.Expect{Clocks: capture.OneClock})
		if err != nil {
			t.Errorf("%g ppm: after removal: %v", c.ppm, err)
			continue
		}
		if p.OffsetFrames < 0 || p.OffsetFrames > 0.06*float64(c.rateHz) {
			t.Errorf("trimmed to %g frames before the signal", p.OffsetFrames)
		}
		worst := 0.0
		for i := 100; i < sig.Frames-100; i++ {
			n := i + int(p.OffsetFrames)
			worst = math.Max(worst, math.Abs(take.Samples[1][n]+0.5*at(sig, float64(n)-p.OffsetFrames)))
		}
		// Noise of 1e-6 peaks at 5e-6 and the clock's own uncertainty moves
		// a tone of amplitude 0.13 at its end by 1e-5.
		if worst > 3e-5 {
			t.Errorf("%g ppm: samples off by %g", c.ppm, worst)
		}
	}
}

func TestAClockThatIsRightLeavesTheSamplesUntouched(t *testing.T) {
	sig := tone(t, 48000)
	x := recording(sig, 10000, 0, 1e-5, 5000)
	take, err := open(t, 48000, x).Record(context.Background(), request(sig))
	if err != nil {
		t.Fatal(err)
	}
	if c := take.ClockError; c == nil || math.Abs(c.PPM) > 4*c.StdPPM {
		t.Errorf("clock error %+v of a clock that is right", c)
	}
	start := 10000 - int(keptS*48000)
	for i, v := range take.Samples[0] {
		if float32(x[0][start+i]) != float32(v) && float32(x[0][start-1+i]) != float32(v) {
			t.Fatalf("sample %d is %g, recorded as %g", i, v, x[0][start+i])
		}
	}
}

func TestRecordingsThatAreRefused(t *testing.T) {
	sig := tone(t, 48000)
	good := recording(sig, 9000, 40, 1e-5, 3000)
	change := func(f func(x []float64) []float64) [][]float64 {
		return [][]float64{f(slices.Clone(good[0])), f(slices.Clone(good[1]))}
	}
	body := 9000 + sig.Body.Start
	cases := map[string]struct {
		rateHz int
		x      [][]float64
		inputs []int
		want   string
		bad    bool
	}{
		"another rate": {44100, good, []int{1}, "recorded at 44100 Hz and the signal played at 48000 Hz", false},
		"no channel 3": {48000, good, []int{1, 3}, "input channel 3 does not exist", false},
		"begins late":  {48000, change(func(x []float64) []float64 { return x[9000+9600:] }), []int{1}, "begins 0.20 s after the signal did", false},
		"ends early":   {48000, change(func(x []float64) []float64 { return x[:len(x)-3000-9840] }), []int{1}, "ends 0.21 s before the signal does", false},
		"64 lost":      {48000, change(func(x []float64) []float64 { return append(x[:body+9000], x[body+9064:]...) }), []int{1, 2}, "lost samples: marks ", true},
		"something else": {48000, change(func(x []float64) []float64 {
			draw := rand.New(rand.NewPCG(2, 2))
			for i := range x {
				x[i] = 0.1 * draw.NormFloat64()
			}
			return x
		}), []int{2}, "input 2: wrong recording: it holds sound, peak -", true},
		"clipped": {48000, change(func(x []float64) []float64 {
			for i := range x {
				x[i] = math.Max(-0.05, math.Min(0.05, x[i]))
			}
			return x
		}), []int{1}, "input 1: clipped: ", true},
	}
	for name, c := range cases {
		req := request(sig)
		req.Inputs = c.inputs
		take, err := open(t, c.rateHz, c.x).Record(context.Background(), req)
		var b *capture.BadTake
		if take != nil || err == nil || !strings.Contains(err.Error(), c.want) || errors.As(err, &b) != c.bad {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// A recorder that starts and stops with the player gives a file as long as the
// signal; its latency pushes the end past the file, or the start before it.
func TestARecordingAsLongAsTheSignal(t *testing.T) {
	if testing.Short() {
		t.Skip("long recordings")
	}
	sig := tone(t, 48000)
	for _, c := range []struct{ offset, ppm float64 }{{0, 0}, {0.4, 0}, {-0.6, 0}, {2400, 0}, {-2400, 0}, {30.3, 87}, {-30.3, -87}} {
		x := recording(sig, 9000, c.ppm, 1e-6, 9000)
		if c.offset != math.Floor(c.offset) {
			x = recording(sig, 9000+c.offset-math.Floor(c.offset), c.ppm, 1e-6, 9000)
		}
		from := 9000 - int(math.Floor(c.offset))
		for i := range x {
			x[i] = x[i][from : from+sig.Frames]
		}
		take, err := open(t, 48000, x).Record(context.Background(), request(sig))
		if err != nil {
			t.Errorf("%g frames late: %v", c.offset, err)
			continue
		}
		p, err := capture.Check(take, sig, capture.Expect{})
		if err != nil {
			t.Errorf("%g frames late: the take: %v", c.offset, err)
			continue
		}
		if p.OffsetFrames < -0.01 || len(take.Samples[0]) < sig.Frames+int(p.OffsetFrames) {
			t.Errorf("%g frames late: %d frames, of which the signal's %d begin at %g", c.offset, len(take.Samples[0]), sig.Frames, p.OffsetFrames)
		}
		want := math.Min(math.Max(c.offset, 0), keptS*48000)
		if c.offset < 0 {
			want = c.offset - math.Floor(c.offset)
		}
		// Where the signal begins on a frame, one more may be kept.
		if d := p.OffsetFrames - want; math.Abs(d-math.Round(d)) > 0.02 || d < -0.5 || d > 1.5 {
			t.Errorf("%g frames late: the signal begins at %g, want %g", c.offset, p.OffsetFrames, want)
		}
	}
}

func TestWholeIsTheFile(t *testing.T) {
	x := [][]float64{{0.5, 0.25, 0}, {0, -0.25, -0.5}}
	w := open(t, 96000, x)
	take, err := w.Whole([]int{2, 1})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([][]float64{x[1], x[0]}, take.Samples); d != "" || take.RateHz != 96000 || take.Signal.Kind != "" {
		t.Errorf("%+v %s", take, d)
	}
	take.Samples[0][0] = 9
	if again, err := w.Whole([]int{2}); err != nil || again.Samples[0][0] != 0 {
		t.Errorf("a take shares its samples with the next: %v", err)
	}
	if _, err := w.Spec(); !errors.Is(err, wavfile.ErrNoSpec) {
		t.Errorf("a recording has a spec: %v", err)
	}
	if _, err := w.Whole([]int{3}); err == nil {
		t.Error("channel 3 of 2 was found")
	}
}

func TestPlayedIsMadeAgainFromTheFile(t *testing.T) {
	sig := tone(t, 48000)
	path := filepath.Join(t.TempDir(), "played.wav")
	for _, e := range []wavfile.Encoding{wavfile.Float32, wavfile.PCM24, wavfile.PCM16} {
		audio, err := wavfile.FromSignal(sig, e)
		if err != nil {
			t.Fatal(err)
		}
		if err := wavfile.WriteFile(path, audio); err != nil {
			t.Fatal(err)
		}
		got, err := Played(path)
		if err != nil {
			t.Errorf("%s: %v", e, err)
			continue
		}
		if d := cmp.Diff(sig.Spec, got.Spec); d != "" || !slices.Equal(sig.Samples, got.Samples) {
			t.Errorf("%s: %s", e, d)
		}
		whole := audio.Samples
		audio.Samples = [][]float64{whole[0][:sig.Frames-1]}
		if err := wavfile.WriteFile(path, audio); err != nil {
			t.Fatal(err)
		}
		if _, err := Played(path); err == nil || !strings.Contains(err.Error(), "its parameters say") {
			t.Errorf("%s one frame short: %v", e, err)
		}
		audio.Samples = whole
		quieter := slices.Clone(audio.Samples[0])
		for i := range quieter {
			quieter[i] *= 0.99
		}
		audio.Samples[0] = quieter
		if err := wavfile.WriteFile(path, audio); err != nil {
			t.Fatal(err)
		}
		if _, err := Played(path); err == nil || !strings.Contains(err.Error(), "it was edited") {
			t.Errorf("%s turned down by a hundredth: %v", e, err)
		}
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	if _, err := Open(filepath.Join(dir, "none.wav")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	text := filepath.Join(dir, "text.wav")
	if err := os.WriteFile(text, bytes.Repeat([]byte("no "), 20), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(text); err == nil || !strings.Contains(err.Error(), "not a WAV file") {
		t.Errorf("text: %v", err)
	}
}

// Outside check: sox plays the exported signal at another speed through its
// own resampler ("rate -v"), which is a recorder whose clock is off.
func TestAgainstSoxAsARecorder(t *testing.T) {
	if exec.Command("sox", "--version").Run() != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("sox is not installed")
		}
		t.Skip("sox is not installed")
	}
	sig := tone(t, 48000)
	dir := t.TempDir()
	played, recorded := filepath.Join(dir, "played.wav"), filepath.Join(dir, "recorded.wav")
	audio, err := wavfile.FromSignal(sig, wavfile.Float32)
	if err != nil {
		t.Fatal(err)
	}
	if err := wavfile.WriteFile(played, audio); err != nil {
		t.Fatal(err)
	}
	for _, speed := range []string{"0.9998", "1.00005"} {
		out, err := exec.Command("sox", "-R", played, "-b", "24", recorded, "pad", "0.7", "0.3", "speed", speed, "rate", "-v", "48000").CombinedOutput()
		if err != nil {
			t.Fatalf("sox: %v\n%s", err, out)
		}
		w, err := Open(recorded)
		if err != nil {
			t.Fatal(err)
		}
		req := request(sig)
		req.Inputs = []int{1}
		take, err := w.Record(context.Background(), req)
		if err != nil {
			t.Errorf("speed %s: %v", speed, err)
			continue
		}
		want := map[string]float64{"0.9998": 1e6 * (1/0.9998 - 1), "1.00005": 1e6 * (1/1.00005 - 1)}[speed]
		t.Logf("speed %s: %.4f ± %.4f ppm, true %.4f", speed, take.ClockError.PPM, take.ClockError.StdPPM, want)
		if d := take.ClockError.PPM - want; math.Abs(d) > 0.02 {
			t.Errorf("speed %s: found %g ppm, want %g", speed, take.ClockError.PPM, want)
		}
		if _, err := capture.Check(take, sig, capture.Expect{}); err != nil {
			t.Errorf("speed %s: after removal: %v", speed, err)
		}
	}
}

// Four minutes of two channels at 96 kHz, as a file with nothing but holes in
// it: refused before they are in memory, and one channel of it read.
func TestALongRecordingIsRefusedWithTheReason(t *testing.T) {
	const seconds, rate = 120, 96000
	path := filepath.Join(t.TempDir(), "long.wav")
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: rate, Encoding: wavfile.PCM24, Samples: [][]float64{{0}, {0}}}); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	const data = seconds * rate * 2 * 3
	length := func(at int64, n uint32) {
		if _, err := f.WriteAt(binary.LittleEndian.AppendUint32(nil, n), at); err != nil {
			t.Fatal(err)
		}
	}
	length(4, 36+data)
	length(40, data)
	if err := errors.Join(f.Truncate(44+data), f.Close()); err != nil {
		t.Fatal(err)
	}
	w, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Whole([]int{1, 2}); err == nil || !strings.Contains(err.Error(), "it is 120 s long, 87 s of 2 channels at 96000 Hz can be read: cut it to the signal") {
		t.Errorf("two channels: %v", err)
	}
	take, err := w.Whole([]int{2})
	if err != nil || len(take.Samples[0]) != seconds*rate {
		t.Errorf("one channel: %v", err)
	}
}
