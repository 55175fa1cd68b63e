package workshop

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/capture/soundcard"
	"boardproof/db"
)

// The kinds of bench, as kept.
const (
	Simulated = "simboard"
	Soundcard = "soundcard"
)

// Simulation is what is laid on a simulated bench.
type Simulation struct {
	// Simulate names a simulated board; "" is a good one.
	Simulate string
	// Knobs turn controls of the simulated interface, each as in 2=+0.3.
	Knobs []string
	// chain is what the devices of the board are called; nil leaves it its own.
	chain []string
}

// Instruments opens the sound cards and the simulated benches of this computer.
type Instruments struct {
	// Ready makes the simulated bench of a name.
	Ready func(name string) (simboard.Config, error)
	Now   func() time.Time
}

// Open is an [Opener].
func (i Instruments) Open(b db.Bench, s Simulation) (in capture.Instrument, close func() error, err error) {
	none := func() error { return nil }
	if b.Kind != Simulated {
		if s.Simulate != "" || len(s.Knobs) > 0 {
			return nil, none, invalidf("bench %q is a real one: --simulate goes with a bench set up with 'bench set NAME --simulated'", b.Name)
		}
		sc, err := soundcard.Open(soundcard.Config{Device: b.Device, Host: b.Host, RateHz: b.RateHz})
		if err != nil {
			return nil, none, DeviceError(err)
		}
		return sc, sc.Close, nil
	}
	name := s.Simulate
	if name == "" {
		name = "good"
	}
	cfg, err := i.Ready(name)
	if err != nil {
		return nil, none, invalid(err)
	}
	cfg.RateHz, cfg.Now = b.RateHz, i.Now
	cfg.CallDevices(s.chain)
	sim, err := simboard.New(cfg)
	if err != nil {
		return nil, none, invalid(err)
	}
	return sim, none, invalid(turnKnobs(sim, s.Knobs))
}

// turnKnobs turns controls of a simulated interface, each as in 2=+0.3.
func turnKnobs(sim *simboard.Simboard, knobs []string) error {
	for _, k := range knobs {
		control, by, _ := strings.Cut(k, "=")
		dB, err := strconv.ParseFloat(by, 64)
		if err != nil {
			return fmt.Errorf("--simulate-knob %q is not INPUT=dB or output=dB, as in 2=+0.3", k)
		}
		if control == "output" {
			err = sim.SetOutputGainDB(dB)
		} else if input, bad := strconv.Atoi(control); bad == nil {
			err = sim.SetInputGainDB(input, dB)
		} else {
			err = fmt.Errorf("--simulate-knob %q names no input and not output", k)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// DeviceError is invalid where a device was named that is not there, unmeasured
// where the device itself would not.
func DeviceError(err error) error {
	for _, e := range []error{soundcard.ErrNoDevice, soundcard.ErrAmbiguous, soundcard.ErrRate, soundcard.ErrChannel} {
		if errors.Is(err, e) {
			return invalid(err)
		}
	}
	return unmeasured(err)
}
