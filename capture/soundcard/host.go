package soundcard

import (
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"
)

// answerWithin is how long a host may take over one request: looking for
// devices on a loaded machine takes a second or two, a dead server for ever.
const answerWithin = 8 * time.Second

var (
	// hostMu guards PortAudio's global state, which has no lock of its own.
	hostMu sync.Mutex
	// unanswered counts requests that the host has not come back from.
	// Until it has, PortAudio must be left alone.
	unanswered atomic.Int32
)

// ask runs one request to the host with its chatter hushed, and gives up
// waiting when no answer comes. The request itself cannot be called off: it
// is left behind, and every later one is refused until it has come back.
func ask(what string, within time.Duration, request func() error) error {
	hostMu.Lock()
	defer hostMu.Unlock()
	if unanswered.Load() > 0 {
		return fmt.Errorf("%w: the audio system does not answer; restart it or reconnect the device, then start this program again", ErrStalled)
	}
	return hushed(func() error {
		answer := make(chan error, 1)
		unanswered.Add(1)
		go func() {
			err := reasoned(request())
			unanswered.Add(-1)
			answer <- err
		}()
		timeout := time.NewTimer(within)
		defer timeout.Stop()
		select {
		case err := <-answer:
			return err
		case <-timeout.C:
			return fmt.Errorf("%w: no answer in %v to a request to %s; reconnect the device or restart the audio system", ErrStalled, within, what)
		}
	})
}

// reasoned gives an error without words some: hosts report a device that has
// vanished with an empty text.
func reasoned(err error) error {
	if err == nil || strings.TrimSpace(err.Error()) != "" {
		return err
	}
	return fmt.Errorf("%w: the audio system gives no reason, which mostly means that the interface has gone; check its cable and power, then try again%w", ErrBusy, err)
}

// initialise starts PortAudio, which looks for devices. Each success is to
// be paid back with one terminate.
func initialise() error {
	err := ask("look for devices", answerWithin, func() error {
		// Otherwise looking for devices may start a JACK server that
		// outlives this program and holds the interface.
		if err := os.Setenv("JACK_NO_START_SERVER", "1"); err != nil {
			return err
		}
		return portaudio.Initialize()
	})
	if err != nil {
		return fmt.Errorf("starting the audio system: %w", err)
	}
	return nil
}

func terminate() error {
	if err := ask("shut down", answerWithin, portaudio.Terminate); err != nil {
		return fmt.Errorf("shutting down the audio system: %w", err)
	}
	return nil
}
