//go:build unix

package soundcard

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"boardproof/capture"
	"boardproof/capture/instrumenttest"
	"boardproof/capture/soundcard/jacktest"
	"boardproof/testsignals"

	"github.com/google/go-cmp/cmp"
)

// open opens a device of the test's JACK server and closes it with the test.
func open(t *testing.T, cfg Config) *Soundcard {
	t.Helper()
	sc, err := Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := sc.Close(); err != nil {
			t.Error(err)
		}
	})
	return sc
}

// sweep is a sweep and its samples as they are after rounding to the 32-bit
// floats that PortAudio carries.
func sweep(t *testing.T) (*testsignals.Signal, []float64) {
	t.Helper()
	spec := testsignals.New(testsignals.Sweep, jacktest.RateHz, -6, 1)
	spec.StartHz, spec.LeadS, spec.TailS = 20, 0.1, 0.1
	sig, err := testsignals.Generate(spec)
	if err != nil {
		t.Fatal(err)
	}
	rounded := make([]float64, sig.Frames)
	for i, v := range sig.Samples {
		rounded[i] = float64(float32(v))
	}
	return sig, rounded
}

func TestContractOverJACK(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	jacktest.Start(t)
	instrumenttest.Run(t, func(t *testing.T) capture.Instrument {
		return open(t, Config{Device: jacktest.Loopback, RateHz: jacktest.RateHz})
	}, instrumenttest.Options{Outputs: []int{1, 2}, RealTime: true})
}

// A wire from output to input, in the JACK server itself: what comes back is
// what was played.
func TestDirectLoop(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	jacktest.Start(t)
	sc := open(t, Config{Device: jacktest.Loopback, Host: "jack"})
	sig, want := sweep(t)
	silence := make([]float64, sig.Frames)
	take := takeWhole(t, sc, capture.Request{Signal: sig, Outputs: []int{2}, Inputs: []int{2, 1}}, [][]float64{want, nil})

	mark := testsignals.Mark(sig.RateHz)
	lag := latency(take.Samples[0], mark, sig.Marks[0].Start, 20000)
	if math.Abs(lag-math.Round(lag)) > 0.01 {
		t.Errorf("latency is found as %.4f frames; a digital loop's is whole", lag)
	}
	back := take.Samples[0][int(math.Round(lag)):][:sig.Frames]
	gainDB := 20 * math.Log10(gain(want, back))
	if math.Abs(gainDB) > 0.001 {
		t.Errorf("gain is %.6f dB", gainDB)
	}
	difference, frame := worst(want, back)
	if difference != 0 {
		t.Errorf("frame %d came back %g off", frame, difference)
	}
	if crosstalk, at := worst(silence, take.Samples[1][:sig.Frames]); crosstalk != 0 {
		t.Errorf("input 1, to which nothing was played, has %g at frame %d", crosstalk, at)
	}
	t.Logf("latency %.5f frames, gain %.7f dB, worst difference %g, host flags %q", lag, gainDB, difference, take.HostFlags)
}

// The same samples through another program twice: as a board on the audio
// path, and from file to file.
func TestThroughEcasound(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	// Output A: second-order low-pass at 3 kHz. Output B: half the gain and
	// a high-pass at 80 Hz.
	chain := []string{"-a:A", "-chmute:2", "-efl:3000", "-a:B", "-chmute:1", "-ea:50", "-efh:80"}
	server := jacktest.Start(t)
	server.Ecasound(t, "board", chain...)
	sc := open(t, Config{Device: "board"})
	sig, played := sweep(t)
	want := stereo(t, jacktest.EcasoundFile(t, raw(t, played), chain...), sig.Frames)
	take := takeWhole(t, sc, capture.Request{Signal: sig, Outputs: []int{1, 2}, Inputs: []int{1, 2}}, want)
	for c, name := range []string{"A", "B"} {
		if same, _ := worst(played, want[c]); same < 0.1 {
			t.Fatalf("output %s: the file was not filtered, so nothing is tested", name)
		}
		mark := sig.Marks[0]
		lag := latency(take.Samples[c], want[c][mark.Start:mark.End], mark.Start, 20000)
		if math.Abs(lag-math.Round(lag)) > 0.01 {
			t.Errorf("output %s: latency is found as %.4f frames; a digital path's is whole", name, lag)
		}
		difference, frame := worst(want[c], take.Samples[c][int(math.Round(lag)):])
		if difference > 1e-6 {
			t.Errorf("output %s: frame %d differs by %g from the file's", name, frame, difference)
		}
		t.Logf("output %s: latency %.5f frames, worst difference %g of full scale", name, lag, difference)
	}
}

// raw is x on both channels as interleaved 32-bit floats.
func raw(t *testing.T, x []float64) []byte {
	t.Helper()
	var b bytes.Buffer
	for _, v := range x {
		binary.Write(&b, binary.LittleEndian, [2]float32{float32(v), float32(v)})
	}
	return b.Bytes()
}

// stereo is raw's way back; the result has exactly frames frames.
func stereo(t *testing.T, b []byte, frames int) [][]float64 {
	t.Helper()
	if len(b) < 8*frames {
		t.Fatalf("the file has %d frames of %d", len(b)/8, frames)
	}
	x := [][]float64{make([]float64, frames), make([]float64, frames)}
	for i := range frames {
		for c := range x {
			x[c][i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[8*i+4*c:])))
		}
	}
	return x
}

// What another program plays arrives without a gap and without a frame more.
func TestListenOverJACK(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	server := jacktest.Start(t)
	const period = 48000
	x := make([]float64, period)
	for i := range x {
		x[i] = float64(i) / period
	}
	file := filepath.Join(t.TempDir(), "ramp.raw")
	if err := os.WriteFile(file, raw(t, x), 0o600); err != nil {
		t.Fatal(err)
	}
	server.Player(t, "player", file)
	sc := open(t, Config{Device: "player"})
	for try := 1; ; try++ {
		gap := listenToRamp(t, sc, x)
		if gap == "" {
			return
		}
		t.Logf("try %d: %s", try, gap)
		if try == tries {
			t.Fatal("there was a gap each time")
		}
	}
}

// listenToRamp says where what is heard is not x over and over: the player
// misses a block now and then where the machine is busy.
func listenToRamp(t *testing.T, sc *Soundcard, x []float64) string {
	t.Helper()
	period := len(x)
	var got []float64
	lost, errEnough := 0, errors.New("enough")
	err := sc.Listen(context.Background(), capture.ListenRequest{Inputs: []int{2}}, func(b capture.Block) error {
		lost += b.LostFrames
		got = append(got, b.Samples[0]...)
		if len(got) > 3*period {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, ErrStalled) || lost > 0 {
		return fmt.Sprintf("%d frames lost, %v", lost, err)
	}
	if !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
	next := int(math.Round(got[period]*float64(period))) + 1
	for i, v := range got[period+1 : 3*period] {
		if want := float64(float32(x[next%period])); v != want {
			return fmt.Sprintf("frame %d is %g, want %g", i, v, want)
		}
		next++
	}
	return ""
}

func TestListAndOpenOverJACK(t *testing.T) {
	server := jacktest.Start(t)
	server.Ecasound(t, "board")
	list, err := List()
	if err != nil {
		t.Fatal(err)
	}
	var jack []DeviceInfo
	for _, d := range list {
		if strings.HasPrefix(d.Host, "JACK") {
			d.Host, d.Number = "JACK", 0
			jack = append(jack, d)
		}
	}
	device := func(name string) DeviceInfo {
		return DeviceInfo{Name: name, Host: "JACK", Inputs: 2, Outputs: 2, DefaultRateHz: 48000, RatesHz: []int{48000}}
	}
	if diff := cmp.Diff([]DeviceInfo{device("system"), device(jacktest.Loopback), device("board")}, jack); diff != "" {
		t.Errorf("devices (-want +got):\n%s", diff)
	}
	for _, c := range []struct {
		cfg     Config
		err     error
		mention string
	}{
		{Config{Device: "board", RateHz: 96000}, ErrRate, "96000 Hz, the device offers 48000 Hz"},
		{Config{Device: "board", RateHz: 8000}, ErrRate, "outside 44100 to 192000"},
		{Config{Device: "o", Host: "jack"}, ErrAmbiguous, `"loopback" (JACK`},
		{Config{Device: "mixer"}, ErrNoDevice, `"board" (JACK`},
	} {
		sc, err := Open(c.cfg)
		if sc != nil || !errors.Is(err, c.err) || !strings.Contains(err.Error(), c.mention) {
			t.Errorf("Open(%+v) returned %v; want %v and %q", c.cfg, err, c.err, c.mention)
		}
	}
	pair := open(t, Config{Device: "loop", InputDevice: "board"}).Describe()
	if pair.Device != "loopback / board" {
		t.Errorf("a pair of devices is called %q", pair.Device)
	}
}

// A server that is halted is what an unplugged interface looks like: no
// block comes any more. Nothing hangs, and once the server goes on, so does
// the sound card.
func TestDeviceThatStops(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	server := jacktest.Start(t)
	sc := open(t, Config{Device: jacktest.Loopback})
	sig, want := sweep(t)
	var halted time.Time
	req := capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}, Progress: func(capture.Progress) {
		if halted.IsZero() {
			halted = time.Now()
			syscall.Kill(server.Pid(), syscall.SIGSTOP)
		}
	}}
	_, err := sc.Record(context.Background(), req)
	if !errors.Is(err, ErrStalled) {
		t.Errorf("Record returned %v; want ErrStalled wrapped", err)
	}
	// stallAfter and stopWithin, and as long as a busy machine may take to notice.
	if took, limit := time.Since(halted), stallAfter+stopWithin+2*time.Minute; took > limit {
		t.Errorf("Record returned %v after the device had stopped; want within %v", took, limit)
	}
	for name, again := range map[string]func() error{
		"List":   func() error { _, err := List(); return err },
		"Record": func() error { _, err := sc.Record(context.Background(), req); return err },
		"Close":  sc.Close,
	} {
		if err := again(); !errors.Is(err, ErrStalled) {
			t.Errorf("%s returned %v while the device was halted; want ErrStalled wrapped", name, err)
		}
	}
	syscall.Kill(server.Pid(), syscall.SIGCONT)
	for deadline := time.Now().Add(5 * time.Minute); unanswered.Load() > 0 && time.Now().Before(deadline); {
		time.Sleep(10 * time.Millisecond)
	}
	takeWhole(t, sc, req, [][]float64{want})
}
