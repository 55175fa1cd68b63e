package soundcard

import (
	"errors"
	"fmt"
	"strings"

	"github.com/gordonklaus/portaudio"
)

// What can be wrong with a device, to be told apart with errors.Is.
var (
	// ErrNoDevice: nothing there has that name or number.
	ErrNoDevice = errors.New("no such audio device")
	// ErrAmbiguous: several devices fit the name.
	ErrAmbiguous = errors.New("several audio devices fit")
	// ErrBusy: another program holds the device, or it has just gone.
	ErrBusy = errors.New("device is busy or gone")
	// ErrRate: the device does not run at that rate.
	ErrRate = errors.New("sample rate not supported")
	// ErrChannel: the device does not have that channel.
	ErrChannel = errors.New("no such channel")
	// ErrStalled: the device or its host stopped answering.
	ErrStalled = errors.New("audio stopped")
	// ErrClosed: the soundcard was closed before.
	ErrClosed = errors.New("soundcard is closed")
)

// ebusy is the code with which ALSA says that a device is in use
// (errno.h; ALSA negates it).
const ebusy = 16

// explain puts what PortAudio says of a device at a rate into words with a
// next step. It returns nil for nil.
func explain(err error, rateHz int, ownRateHz float64) error {
	var host portaudio.UnanticipatedHostError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, portaudio.InvalidSampleRate):
		return fmt.Errorf("%w: %d Hz, the device offers %.0f Hz; use that or change the rate in the device's own settings",
			ErrRate, rateHz, ownRateHz)
	case errors.Is(err, portaudio.DeviceUnavailable),
		errors.As(err, &host) && (host.Code == ebusy || host.Code == -ebusy):
		return fmt.Errorf("%w: close other programs that use it, check its cable, then try again (%s)",
			ErrBusy, lower(err))
	case errors.Is(err, portaudio.InvalidChannelCount):
		return fmt.Errorf("%w: the device refuses so many at %d Hz; use lower channels or a lower rate", ErrChannel, rateHz)
	case errors.Is(err, portaudio.BadIODeviceCombination):
		return fmt.Errorf("inputs and outputs cannot run in one stream; use one device for both: %w", err)
	}
	return err
}

// lower fits a host's sentence into the middle of ours.
func lower(err error) string {
	s := strings.TrimRight(strings.TrimSpace(err.Error()), ".")
	if s == "" {
		return "no reason given"
	}
	return strings.ToLower(s[:1]) + s[1:]
}
