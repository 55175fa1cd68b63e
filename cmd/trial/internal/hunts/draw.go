package hunts

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"boardproof/analysis/hunt"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/randombench"
)

// drawable are the causes that a trial puts on boards; none of them is drawn
// where there is to be nothing but hiss.
var drawable = []string{hunt.GroundLoop, hunt.Magnetic, hunt.Ripple, hunt.Electric, hunt.Dimmer, hunt.Converter, hunt.Beat, hunt.USB}

var deviceNames = []string{"fuzz", "drive", "chorus", "delay", "tuner"}

// cause is one cause on a board, and how to make it louder.
type cause struct {
	name string
	// where says how it was drawn, for whoever looks at a mistake.
	where string
	// louder multiplies its voltages.
	louder func(by float64)
}

// board is a board with causes of which all is known.
type board struct {
	config simboard.Config
	causes []cause
	// aboveDB is the level of all lines together, mains comb and others up to
	// 20 kHz, RMS, over the hiss, unweighted from 20 Hz to 20 kHz, both as
	// recorded at the input where that is most.
	aboveDB float64
	// hissVolts is at each input, the same whatever hums.
	hissVolts [2]float64
	can       hunt.Board
	// keep is the folder that keeps the hunt's readings, "" for none.
	keep string
}

// drawBoard draws a board on a bench with the causes of these names, the first
// aboveDB over the hiss and each further one 0 to 12 dB under it.
func drawBoard(rng *rand.Rand, bench simboard.Config, names []string, aboveDB float64) (*board, error) {
	d := draw{rng}
	b := &board{config: randombench.BoardOn(rng, bench)}
	c := &b.config
	for i := range c.Board.Outputs {
		c.Board.Outputs[i].Hum, c.Board.Outputs[i].Tones = simboard.Hum{}, nil
	}
	for _, name := range deviceNames[:2+rng.IntN(len(deviceNames)-1)] {
		c.Board.Devices = append(c.Board.Devices, simboard.Device{Name: name, BypassFarads: d.between(0, 60e-12)})
		b.can.Devices = append(b.can.Devices, name)
	}
	b.can.Outputs = []string{"A", "B"}
	b.can.Battery, b.can.LaptopBattery, b.can.Isolator = rng.IntN(2) == 0, rng.IntN(4) > 0, rng.IntN(2) == 0
	if err := b.readHiss(); err != nil {
		return nil, err
	}
	for i, name := range names {
		level := aboveDB
		if i > 0 {
			level -= d.between(0, 12)
		}
		if err := b.add(d, name, level); err != nil {
			return nil, fmt.Errorf("drawing %s: %w", strings.Join(names, " and "), err)
		}
	}
	var err error
	b.aboveDB, err = b.loudest()
	return b, err
}

// benchHums says whether an input of the interface has lines of its own.
func benchHums(bench simboard.Config) bool {
	return slices.ContainsFunc(bench.Interface.Inputs, func(in simboard.Input) bool { return len(in.Hum) > 0 || len(in.Tones) > 0 })
}

// add puts a cause on the board at a level over the hiss, found while the
// others are 120 dB lower.
func (b *board) add(d draw, name string, aboveDB float64) error {
	const quiet = 1e-6
	x := b.cause(d, name)
	for _, other := range b.causes {
		other.louder(quiet)
	}
	// A divider is not quite linear: closer each time.
	for range 3 {
		level, err := b.loudest()
		if err != nil {
			return err
		}
		x.louder(math.Pow(10, (aboveDB-level)/20))
	}
	for _, other := range b.causes {
		other.louder(1 / quiet)
	}
	b.causes = append(b.causes, x)
	return nil
}

func (b *board) readHiss() error {
	sim, err := simboard.New(b.config)
	if err != nil {
		return err
	}
	truth := sim.Truth()
	for i := range b.hissVolts {
		b.hissVolts[i] = simboard.NoiseVolts(func(f float64) float64 { return truth.RecordedNoiseDensity(capture.ToBoard, i+1, f) }, nil)
	}
	return nil
}

// loudest is the level over the hiss at the input where it is most, in dB, the
// interface's own lines left out.
func (b *board) loudest() (float64, error) {
	c := b.config
	c.Interface.Inputs = slices.Clone(c.Interface.Inputs)
	for i := range c.Interface.Inputs {
		c.Interface.Inputs[i].Hum, c.Interface.Inputs[i].Tones = nil, nil
	}
	sim, err := simboard.New(c)
	if err != nil {
		return 0, err
	}
	most, truth := math.Inf(-1), sim.Truth()
	for i, hiss := range b.hissVolts {
		power := 0.0
		for n, v := range truth.RecordedHumVolts(capture.ToBoard, i+1) {
			if float64(n)*c.Mains.StartHz <= 20e3 {
				power += v * v
			}
		}
		for _, t := range truth.RecordedTones(capture.ToBoard, i+1) {
			if t.FrequencyHz >= 20 && t.FrequencyHz <= 20e3 {
				power += t.VoltsRMS * t.VoltsRMS
			}
		}
		most = math.Max(most, 10*math.Log10(power/(hiss*hiss)))
	}
	return most, nil
}
