package soundcard

import (
	"errors"
	"strings"
	"testing"

	"github.com/gordonklaus/portaudio"
)

// Hosts report a device that has vanished with an empty text, which must not
// reach anybody; the cause is kept.
func TestAnErrorWithoutWordsIsGivenSome(t *testing.T) {
	err := ask("start the stream", answerWithin, func() error { return portaudio.UnanticipatedHostError{Code: -32} })
	var host portaudio.UnanticipatedHostError
	if !errors.Is(err, ErrBusy) || !errors.As(err, &host) || host.Code != -32 || !strings.Contains(err.Error(), "the interface has gone; check its cable") {
		t.Errorf("got %v", err)
	}
	if err := explain(err, 48000, 48000); !errors.Is(err, ErrBusy) || strings.Contains(err.Error(), "()") {
		t.Errorf("explained: %v", err)
	}
}
