package soundcard

import (
	"testing"

	"boardproof/capture"
	"boardproof/capture/instrumenttest"
	"boardproof/capture/soundcard/jacktest"
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

func TestContractOverJACK(t *testing.T) {
	jacktest.Start(t)
	instrumenttest.Run(t, func(t *testing.T) capture.Instrument {
		return open(t, Config{Device: jacktest.Loopback, RateHz: jacktest.RateHz})
	}, instrumenttest.Options{Outputs: []int{1, 2}, RealTime: true})
}
