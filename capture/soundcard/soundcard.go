package soundcard

import (
	"fmt"
	"math"

	"boardproof/capture"
	"boardproof/testsignals"

	"github.com/gordonklaus/portaudio"
)

// Config says which device to open.
type Config struct {
	// Device is the name, a part of it that no other device has, or the
	// number in List. Empty means the system's default device.
	Device string
	// InputDevice, where not empty, is the device to record from when it is
	// another than Device. Both must belong to one audio system, and have
	// one clock if timing is to mean anything.
	InputDevice string
	// Host, where not empty, is a part of the name of the audio system to
	// look in.
	Host string
	// RateHz is the sample rate; 0 means the device's own.
	RateHz int
}

// Soundcard is an audio interface as a capture.Instrument.
type Soundcard struct {
	out, in *portaudio.DeviceInfo
	desc    capture.Description
	closed  bool
	// open is replaced in tests.
	open func(onAir) (stream, error)
}

var _ capture.Listener = (*Soundcard)(nil)

// Open finds a device and makes sure that it exists and runs at the rate in
// both directions at once. The device itself is held only during Record and Listen.
// The error wraps one of this package's Err values where one applies.
func Open(cfg Config) (*Soundcard, error) {
	fail := func(err error) (*Soundcard, error) {
		return nil, fmt.Errorf("opening audio device %q: %w", cfg.Device, err)
	}
	if cfg.RateHz != 0 && (cfg.RateHz < testsignals.MinRateHz || cfg.RateHz > testsignals.MaxRateHz) {
		return fail(fmt.Errorf("%w: %d Hz is outside %d to %d Hz", ErrRate, cfg.RateHz, testsignals.MinRateHz, testsignals.MaxRateHz))
	}
	if err := initialise(); err != nil {
		return fail(err)
	}
	sc := &Soundcard{}
	sc.open = sc.openStream
	err := ask("open the device", answerWithin, func() error { return sc.choose(cfg) })
	if err != nil {
		terminate()
		return fail(err)
	}
	return sc, nil
}

func (sc *Soundcard) choose(cfg Config) error {
	hosts, err := portaudio.HostApis()
	if err != nil {
		return err
	}
	if sc.out, err = find(hosts, cfg.Host, cfg.Device, outwards); err != nil {
		return err
	}
	inputDevice := cfg.InputDevice
	if inputDevice == "" {
		inputDevice = cfg.Device
	}
	if sc.in, err = find(hosts, cfg.Host, inputDevice, inwards); err != nil {
		return err
	}
	if sc.in.HostApi != sc.out.HostApi {
		return fmt.Errorf("outputs of %s and inputs of %s belong to different audio systems; name one system, or one device that has both",
			names([]*portaudio.DeviceInfo{sc.out}), names([]*portaudio.DeviceInfo{sc.in}))
	}
	sc.desc = description(sc.out, sc.in, cfg.RateHz)
	p := sc.parameters(1, 1)
	return sc.explain(portaudio.IsFormatSupported(p, (&session{}).process))
}

func description(out, in *portaudio.DeviceInfo, rateHz int) capture.Description {
	d := capture.Description{
		Kind: "soundcard", Device: out.Name, Host: out.HostApi.Name, RateHz: rateHz,
		Inputs: in.MaxInputChannels, Outputs: out.MaxOutputChannels,
	}
	if in != out && in.Name != out.Name {
		d.Device = out.Name + " / " + in.Name
	}
	if rateHz == 0 {
		d.RateHz = int(math.Round(out.DefaultSampleRate))
	}
	return d
}

// Describe says which device this is. A pair of devices is shown as
// "output device / input device".
func (sc *Soundcard) Describe() capture.Description { return sc.desc }

// Close lets go of the audio system. Closing again does nothing.
func (sc *Soundcard) Close() error {
	if sc.closed {
		return nil
	}
	if err := terminate(); err != nil {
		return fmt.Errorf("closing audio device %q: %w", sc.desc.Device, err)
	}
	sc.closed = true
	return nil
}

func (sc *Soundcard) explain(err error) error {
	return explain(err, sc.desc.RateHz, sc.out.DefaultSampleRate)
}
