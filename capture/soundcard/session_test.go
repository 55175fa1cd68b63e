package soundcard

import (
	"math"
	"reflect"
	"testing"

	"github.com/gordonklaus/portaudio"
)

// ramp is a signal whose every frame differs from the others.
func ramp(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i+1) / float64(n)
	}
	return x
}

// block makes a host's buffer, filled with what must not stay there.
func block(channels, frames int) [][]float32 {
	b := make([][]float32, channels)
	for c := range b {
		b[c] = make([]float32, frames)
		for i := range b[c] {
			b[c][i] = 9
		}
	}
	return b
}

func TestProcessMapsChannels(t *testing.T) {
	const rate, n = 48000, 1000
	s := newSession(ramp(n), []int{3, 1}, []int{2}, rate)
	s.allocate(50)
	var played [][3]float32
	for k, frames := range []int{7, 512, 1, 9000, 1024, 333} {
		out, in := block(3, frames), block(2, frames)
		o, i := [3][]float32(out), [2][]float32(in)
		for f := range frames {
			i[1][f] = float32(len(played) + f)
		}
		s.process(in, out, portaudio.StreamCallbackTimeInfo{}, 0)
		for f := range frames {
			played = append(played, [3]float32{o[0][f], o[1][f], o[2][f]})
		}
		if in[0] != nil || out[0] != nil {
			t.Errorf("block %d: the host's buffers are still referred to after the callback", k)
		}
	}
	lead := int(leadS * rate)
	for f, got := range played {
		want := float32(0)
		if f >= lead && f < lead+n {
			want = float32(f-lead+1) / n
		}
		if got != [3]float32{want, 0, want} {
			t.Fatalf("frame %d: outputs 1 to 3 are %v; want %g on 1 and 3", f, got, want)
		}
	}
	rows := s.samples()
	if len(rows) != 1 || len(rows[0]) != n+50 {
		t.Fatalf("recorded %d rows of %d frames", len(rows), len(rows[0]))
	}
	for f, v := range rows[0] {
		if v != float64(lead+f) {
			t.Fatalf("row frame %d is %g; want input 2's frame %d", f, v, lead+f)
		}
	}
}

// A host with nothing for one direction passes no buffer; frames are counted
// all the same, so that what follows stays in its place.
func TestProcessWithoutABuffer(t *testing.T) {
	s := newSession(ramp(100), []int{1}, []int{1}, 44100)
	s.allocate(0)
	s.process(make([][]float32, 1), block(1, 64), portaudio.StreamCallbackTimeInfo{}, portaudio.InputUnderflow)
	s.process(block(1, 64), make([][]float32, 1), portaudio.StreamCallbackTimeInfo{}, portaudio.OutputOverflow)
	if got := s.pos.Load(); got != 128 {
		t.Errorf("two blocks of 64 frames brought the count to %d", got)
	}
	if s.rec[0][63] != 0 || s.rec[0][64] != 9 {
		t.Errorf("the second block was recorded in another place: %v, %v", s.rec[0][63], s.rec[0][64])
	}
	if got := flagNames(portaudio.StreamCallbackFlags(s.flags.Load())); got != "input underflow, output overflow" {
		t.Errorf("flags are %q", got)
	}
}

func TestProcessFadesToSilence(t *testing.T) {
	const rate = 48000
	signal := make([]float64, rate)
	for i := range signal {
		signal[i] = 0.5
	}
	s := newSession(signal, []int{1}, []int{1}, rate)
	s.allocate(0)
	next := func() []float32 {
		out := block(1, 256)
		o := out[0]
		s.process(block(1, 256), out, portaudio.StreamCallbackTimeInfo{}, 0)
		return o
	}
	for range 60 {
		next()
	}
	s.stop.Store(true)
	previous, step, frames := 0.5, 0.0, 0
	for !s.silent.Load() && frames < rate {
		for _, v := range next() {
			if float64(v) > previous {
				t.Fatalf("the fade goes up to %g", v)
			}
			step = max(step, previous-float64(v))
			previous = float64(v)
			frames++
		}
	}
	// The steepest step of a raised cosine of N frames is pi/(2N) of its height.
	if limit := 0.5 * math.Pi / (2 * fadeS * rate) * 1.001; step > limit {
		t.Errorf("the fade jumps by %g, want at most %g", step, limit)
	}
	if previous != 0 || frames > int(fadeS*rate)+256 {
		t.Errorf("after %d frames the output is %g", frames, previous)
	}
	for _, v := range next() {
		if v != 0 {
			t.Fatalf("after the fade the output is %g", v)
		}
	}
}

// callback is a session and a block in the host's way.
func callback() func() {
	s := newSession(make([]float64, 48000), []int{1, 2}, []int{1, 2}, 48000)
	s.allocate(1000)
	in, out := block(2, 256), block(2, 256)
	i, o := [2][]float32(in), [2][]float32(out)
	return func() {
		copy(in, i[:])
		copy(out, o[:])
		s.process(in, out, portaudio.StreamCallbackTimeInfo{}, portaudio.InputOverflow)
		if s.pos.Load() > 40000 {
			s.pos.Store(0)
		}
	}
}

func TestCallbackAllocatesNothing(t *testing.T) {
	if n := testing.AllocsPerRun(2000, callback()); n != 0 {
		t.Errorf("the callback allocates %g times a block", n)
	}
	// The binding calls it by reflection, with arguments made once.
	s := newSession(make([]float64, 48000), []int{1}, []int{1}, 48000)
	s.allocate(0)
	f := reflect.ValueOf(s.process)
	args := []reflect.Value{
		reflect.ValueOf(make([][]float32, 1)), reflect.ValueOf(make([][]float32, 1)),
		reflect.ValueOf(portaudio.StreamCallbackTimeInfo{}), reflect.ValueOf(portaudio.StreamCallbackFlags(0)),
	}
	if n := testing.AllocsPerRun(2000, func() { f.Call(args) }); n != 0 {
		t.Errorf("the callback as the binding calls it allocates %g times a block", n)
	}
}

// BenchmarkCallback is one block of 256 frames, two channels each way.
func BenchmarkCallback(b *testing.B) {
	run := callback()
	b.ReportAllocs()
	for b.Loop() {
		run()
	}
}

// A host that flags now and then is listened to, one that always flags is not.
func TestAFlagInEveryCycleSaysNothing(t *testing.T) {
	for _, c := range []struct {
		flagged int
		want    bool
	}{{0, false}, {1, true}, {4, true}, {10, false}} {
		s := newSession(ramp(100), []int{1}, []int{1}, 48000)
		s.allocate(0)
		for k := range 10 {
			flags := portaudio.StreamCallbackFlags(0)
			if k < c.flagged {
				flags = portaudio.InputOverflow
			}
			s.process(block(1, 10), block(1, 10), portaudio.StreamCallbackTimeInfo{}, flags)
		}
		if s.missed() != c.want {
			t.Errorf("%d of 10 cycles flagged: missed is %v", c.flagged, s.missed())
		}
	}
}
