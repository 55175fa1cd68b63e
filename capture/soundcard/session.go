package soundcard

import (
	"math"
	"sync/atomic"

	"github.com/gordonklaus/portaudio"
)

// session is what the audio callback works on during one take. All buffers
// are made beforehand. The callback alone writes rec and fadeAt; it
// publishes rec up to frame pos by storing pos.
type session struct {
	play    []float32 // the signal
	lead    int       // frames of silence before it
	outputs []int     // from 0
	inputs  []int     // from 0
	rec     [][]float32
	// fade is the gain on the way to silence, one value per frame.
	fade   []float32
	fadeAt int

	pos    atomic.Int64  // frames handled
	stop   atomic.Bool   // set: fade out
	silent atomic.Bool   // the fade has come to its end
	flags  atomic.Uint32 // all flags that the host has raised
	// cycles counts calls, flagged those of them with a flag.
	cycles, flagged atomic.Int64
}

const (
	// leadS lets a converter and a sound server settle before the signal.
	leadS = 0.2
	fadeS = 0.02
)

func newSession(signal []float64, outputs, inputs []int, rateHz int) *session {
	s := &session{
		play:    make([]float32, len(signal)),
		lead:    int(math.Round(leadS * float64(rateHz))),
		outputs: fromZero(outputs),
		inputs:  fromZero(inputs),
		fade:    make([]float32, int(math.Round(fadeS*float64(rateHz)))),
	}
	for i, v := range signal {
		s.play[i] = float32(v)
	}
	for i := range s.fade {
		s.fade[i] = float32(0.5 + 0.5*math.Cos(math.Pi*float64(i+1)/float64(len(s.fade))))
	}
	return s
}

func fromZero(channels []int) []int {
	z := make([]int, len(channels))
	for i, c := range channels {
		z[i] = c - 1
	}
	return z
}

// allocate makes room for the lead, the signal and extra frames after it.
func (s *session) allocate(extra int) {
	s.rec = make([][]float32, len(s.inputs))
	for i := range s.rec {
		s.rec[i] = make([]float32, s.lead+len(s.play)+extra)
	}
}

func (s *session) channels() (outputs, inputs int) { return highest(s.outputs), highest(s.inputs) }

func (s *session) frames() int { return len(s.rec[0]) }

// process is the audio callback: buffers are [channel][frame] in the host's
// memory. It must neither allocate nor lock.
func (s *session) process(in, out [][]float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
	at := int(s.pos.Load())
	n := max(blockLen(in), blockLen(out))
	s.render(out, at)
	for i, c := range s.inputs {
		if at < len(s.rec[i]) {
			copy(s.rec[i][at:], in[c])
		}
	}
	s.flags.Or(uint32(flags))
	s.cycles.Add(1)
	if flags != 0 {
		s.flagged.Add(1)
	}
	s.pos.Store(int64(at + n))
	// A host that has no buffer for one direction passes none, and the
	// binding then leaves the last block's in place. Take them out so that
	// memory which is no longer ours is not read or written next time.
	clear(in)
	clear(out)
}

func blockLen(block [][]float32) int {
	if len(block) == 0 {
		return 0
	}
	return len(block[0])
}

func (s *session) render(out [][]float32, at int) {
	for _, ch := range out {
		clear(ch)
	}
	stopping := s.stop.Load()
	for i := range blockLen(out) {
		gain := float32(1)
		if stopping {
			gain = s.nextFade()
		}
		if k := at + i - s.lead; k >= 0 && k < len(s.play) {
			for _, c := range s.outputs {
				out[c][i] = gain * s.play[k]
			}
		}
	}
	if s.fadeAt == len(s.fade) {
		s.silent.Store(true)
	}
}

func (s *session) nextFade() float32 {
	if s.fadeAt == len(s.fade) {
		return 0
	}
	s.fadeAt++
	return s.fade[s.fadeAt-1]
}

// missed says whether the host flagged cycles, and not most of them.
func (s *session) missed() bool {
	n := s.flagged.Load()
	return n > 0 && 2*n < s.cycles.Load()
}

// samples returns the recording from the first frame of the signal on.
func (s *session) samples() [][]float64 {
	x := make([][]float64, len(s.rec))
	for i, row := range s.rec {
		x[i] = make([]float64, len(row)-s.lead)
		for k := range x[i] {
			x[i][k] = float64(row[s.lead+k])
		}
	}
	return x
}

// peaksDBFS returns the peak of each input from frame from up to frame to.
func (s *session) peaksDBFS(from, to int) []float64 {
	peaks := make([]float64, len(s.rec))
	for i, row := range s.rec {
		peak := 0.0
		for _, v := range row[min(from, len(row)):min(to, len(row))] {
			peak = max(peak, math.Abs(float64(v)))
		}
		peaks[i] = max(silenceDBFS, 20*math.Log10(peak))
	}
	return peaks
}

// silenceDBFS stands for a peak of nothing but zeros, far below what any
// converter resolves; minus infinity cannot be written as JSON.
const silenceDBFS = -200
