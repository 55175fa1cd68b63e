package soundcard

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boardproof/capture"
	"boardproof/testsignals"

	"github.com/gordonklaus/portaudio"
	"go.uber.org/goleak"
)

// fake is a stream whose clock runs fast and whose output is its input. It
// stops calling back after calls blocks, where that is not 0.
type fake struct {
	s         onAir
	info      *portaudio.StreamInfo
	calls     int
	startErr  error
	quit      chan struct{}
	running   atomic.Bool
	lastFrame float32
	closed    int
}

func (f *fake) Start() error {
	if f.startErr != nil {
		return f.startErr
	}
	f.quit = make(chan struct{})
	f.running.Store(true)
	go f.run()
	return nil
}

func (f *fake) run() {
	defer f.running.Store(false)
	carried := make([]float32, 480)
	for k := 0; f.calls == 0 || k < f.calls; k++ {
		select {
		case <-f.quit:
			return
		case <-time.After(time.Millisecond):
		}
		in, out := block(2, 480), block(2, 480)
		o := out[0]
		copy(in[0], carried)
		f.s.process(in, out, portaudio.StreamCallbackTimeInfo{}, 0)
		copy(carried, o)
		f.lastFrame = o[479]
	}
	<-f.quit
}

func (f *fake) Stop() error  { return f.Abort() }
func (f *fake) Close() error { f.closed++; return nil }
func (f *fake) Abort() error {
	close(f.quit)
	for f.running.Load() {
		time.Sleep(time.Millisecond)
	}
	return nil
}
func (f *fake) Info() *portaudio.StreamInfo { return f.info }

func fakeCard(f *fake) *Soundcard {
	device := &portaudio.DeviceInfo{Name: "fake", DefaultSampleRate: 48000}
	sc := &Soundcard{out: device, in: device, desc: capture.Description{Kind: "soundcard", Device: "fake", RateHz: 48000, Inputs: 2, Outputs: 2}}
	sc.open = func(s onAir) (stream, error) { f.s = s; return f, nil }
	if f.info == nil {
		f.info = &portaudio.StreamInfo{SampleRate: 48000, OutputLatency: 10 * time.Millisecond}
	}
	return sc
}

func request(t *testing.T) capture.Request {
	t.Helper()
	sig, err := testsignals.Generate(testsignals.New(testsignals.Tone, 48000, -12, 2))
	if err != nil {
		t.Fatal(err)
	}
	return capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}}
}

func TestRecordFailures(t *testing.T) {
	for _, c := range []struct {
		name    string
		fake    *fake
		want    error
		mention string
	}{
		{"stalls midway", &fake{calls: 50}, ErrStalled, "check its cable"},
		{"does not start", &fake{startErr: portaudio.DeviceUnavailable}, ErrBusy, "close other programs"},
		{"runs at another rate", &fake{info: &portaudio.StreamInfo{SampleRate: 44100}}, ErrRate, "runs at 44100 Hz"},
	} {
		before := goleak.IgnoreCurrent()
		f := c.fake
		take, err := fakeCard(f).Record(context.Background(), request(t))
		if take != nil || !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.mention) || !strings.Contains(err.Error(), `"fake"`) {
			t.Errorf("%s: Record returned %v, %v; want %v", c.name, take != nil, err, c.want)
		}
		if f.closed != 1 {
			t.Errorf("%s: the stream was closed %d times", c.name, f.closed)
		}
		goleak.VerifyNone(t, before)
	}
}

func TestRecordCancelledLeavesSilence(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	f := &fake{}
	req := request(t)
	req.Progress = func(p capture.Progress) {
		if p.PeakDBFS[0] > -20 { // the body of the signal, so that there is something to fade
			cancel()
		}
	}
	if _, err := fakeCard(f).Record(ctx, req); !errors.Is(err, context.Canceled) {
		t.Fatalf("Record returned %v", err)
	}
	if f.lastFrame != 0 || !f.s.(*session).silent.Load() {
		t.Errorf("the last frame played is %g", f.lastFrame)
	}
}

func TestRecordRefusesSignals(t *testing.T) {
	for name, spoil := range map[string]func(x []float64){
		"beyond full scale": func(x []float64) { x[5000] = 1.01 },
		"NaN":               func(x []float64) { x[5000] = math.NaN() },
		"loud first frame":  func(x []float64) { x[0] = 0.1 },
		"loud last frame":   func(x []float64) { x[len(x)-1] = -0.1 },
	} {
		req := request(t)
		spoil(req.Signal.Samples)
		if _, err := fakeCard(&fake{}).Record(context.Background(), req); err == nil {
			t.Errorf("%s: Record played it", name)
		}
	}
}

// A host's "not known" must not make a take of hours.
func TestUnknownLatency(t *testing.T) {
	unknown := time.Duration(float64(1<<32-1) / 48000 * float64(time.Second))
	for _, c := range []struct{ out, in, round time.Duration }{
		{10 * time.Millisecond, 5 * time.Millisecond, 15 * time.Millisecond},
		{unknown, 5 * time.Millisecond, 5 * time.Millisecond},
		{-time.Second, unknown, 0},
	} {
		f := &fake{info: &portaudio.StreamInfo{SampleRate: 48000, OutputLatency: c.out, InputLatency: c.in}}
		lag, err := fakeCard(f).timing(f)
		if err != nil || lag.round != c.round {
			t.Errorf("latencies of %v and %v count as %v, %v; want %v", c.out, c.in, lag.round, err, c.round)
		}
	}
}

// An unanswered request must not hang its caller, and no other may be made
// before it has come back.
func TestAskGivesUp(t *testing.T) {
	answer := make(chan struct{})
	err := ask("wait for the test", 10*time.Millisecond, func() error { <-answer; return nil })
	if !errors.Is(err, ErrStalled) || !strings.Contains(err.Error(), "wait for the test") {
		t.Errorf("ask returned %v", err)
	}
	if _, err := List(); !errors.Is(err, ErrStalled) {
		t.Errorf("List returned %v while a request was unanswered", err)
	}
	close(answer)
	for unanswered.Load() > 0 {
		time.Sleep(time.Millisecond)
	}
	if err := ask("go on", time.Second, func() error { return nil }); err != nil {
		t.Errorf("ask returned %v after the first request had been answered", err)
	}
}
