package soundcard

import (
	"fmt"
	"math"
	"time"

	"github.com/gordonklaus/portaudio"
)

// stream is as much of a PortAudio stream as a take needs.
type stream interface {
	Start() error
	Stop() error
	Abort() error
	Close() error
	Info() *portaudio.StreamInfo
}

// onAir is what the audio callback works on.
type onAir interface {
	// channels are how many of each direction it needs, the highest in use.
	channels() (outputs, inputs int)
	process(in, out [][]float32, info portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags)
}

// parameters asks for the host's own block size, and for the device's high
// latency: a measurement has no use for a short delay, but a lost block
// spoils it.
func (sc *Soundcard) parameters(outputs, inputs int) portaudio.StreamParameters {
	return portaudio.StreamParameters{
		Output:          portaudio.StreamDeviceParameters{Device: sc.out, Channels: outputs, Latency: sc.out.DefaultHighOutputLatency},
		Input:           portaudio.StreamDeviceParameters{Device: sc.in, Channels: inputs, Latency: sc.in.DefaultHighInputLatency},
		SampleRate:      float64(sc.desc.RateHz),
		FramesPerBuffer: portaudio.FramesPerBufferUnspecified,
	}
}

// openStream opens both directions at once.
func (sc *Soundcard) openStream(work onAir) (stream, error) {
	var st *portaudio.Stream
	outputs, inputs := work.channels()
	err := ask("open the device", answerWithin, func() error {
		var err error
		st, err = portaudio.OpenStream(sc.parameters(outputs, inputs), work.process)
		return sc.explain(err)
	})
	if err != nil {
		return nil, err
	}
	return st, nil
}

func highest(channels []int) int {
	n := 0
	for _, c := range channels {
		n = max(n, c+1)
	}
	return n
}

// timing is what an open stream says of itself.
type timing struct {
	// out is the time from the callback to the output, round from an
	// output to an input that is wired to it.
	out, round time.Duration
}

// believable is the longest latency that is taken for one. Over JACK a port
// of another program says 2^32−1 frames for "not known yet".
const believable = 2 * time.Second

func (sc *Soundcard) timing(st stream) (timing, error) {
	info := st.Info()
	if info == nil {
		return timing{}, fmt.Errorf("%w: it gives no stream information; reconnect it and try again", ErrBusy)
	}
	// A clock may be some ppm off and say so; another rate is another matter.
	if rate := float64(sc.desc.RateHz); math.Abs(info.SampleRate-rate) > 1e-3*rate {
		return timing{}, fmt.Errorf("%w: asked for %d Hz, the device runs at %.0f Hz; use that or change the device's own settings",
			ErrRate, sc.desc.RateHz, info.SampleRate)
	}
	out := known(info.OutputLatency)
	return timing{out: out, round: out + known(info.InputLatency)}, nil
}

// known returns d, or 0 where d cannot be meant.
func known(d time.Duration) time.Duration {
	if d < 0 || d > believable {
		return 0
	}
	return d
}
