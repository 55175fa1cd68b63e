package soundcard

import (
	"errors"
	"fmt"
	"math"

	"boardproof/capture"
)

// check refuses what cannot be played and recorded, before anything sounds.
func (sc *Soundcard) check(req capture.Request) error {
	if req.Signal == nil || len(req.Signal.Samples) == 0 {
		return errors.New("no signal to play; make one first")
	}
	if req.Signal.RateHz != sc.desc.RateHz {
		return fmt.Errorf("%w: the signal is made for %d Hz, the device was opened at %d Hz; make the signal for the device's rate",
			ErrRate, req.Signal.RateHz, sc.desc.RateHz)
	}
	if err := checkChannels("output", req.Outputs, sc.desc.Outputs); err != nil {
		return err
	}
	if err := checkChannels("input", req.Inputs, sc.desc.Inputs); err != nil {
		return err
	}
	return checkSamples(req.Signal.Samples)
}

func checkChannels(kind string, channels []int, exist int) error {
	if len(channels) == 0 {
		return fmt.Errorf("%w: no %s channel was asked for; give at least one of 1 to %d", ErrChannel, kind, exist)
	}
	seen := map[int]bool{}
	for _, c := range channels {
		if c < 1 || c > exist {
			return fmt.Errorf("%w: %s %d, the device has %ss 1 to %d", ErrChannel, kind, c, kind, exist)
		}
		if seen[c] {
			return fmt.Errorf("%s %d was asked for more than once; give each channel once", kind, c)
		}
		seen[c] = true
	}
	return nil
}

// startsBelow is the highest amplitude with which a signal may begin and
// end, −60 dBFS: anything more is a click in whatever is connected.
const startsBelow = 1e-3

func checkSamples(x []float64) error {
	for i, v := range x {
		if !(math.Abs(v) <= 1) {
			return fmt.Errorf("the signal's frame %d is %g, beyond full scale; make the signal at a lower level", i, v)
		}
	}
	if math.Abs(x[0]) > startsBelow || math.Abs(x[len(x)-1]) > startsBelow {
		return errors.New("the signal does not begin and end in silence; add ramps to it")
	}
	return nil
}
