package simboard

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"boardproof/capture"
)

// Simboard is a simulated bench with a board on it. It is not safe for use
// by several goroutines at once.
type Simboard struct {
	cfg    Config
	gainDB []float64 // of each input, as the knobs have been turned
	// outputGainDB is of the output's level control.
	outputGainDB float64
	faults       []Faults
	takes        uint64
	last         TakeTruth
	// elapsedS is how long was recorded so far.
	elapsedS float64
	ladders  map[ladderKey]panels
}

// ladderKey is what a ladder differs by between takes.
type ladderKey struct {
	patch   capture.Patch
	shorted bool
	farads  float64
	buffer  Buffer
}

var (
	_ capture.Instrument = (*Simboard)(nil)
	_ capture.Listener   = (*Simboard)(nil)
)

// New returns the bench of cfg, or says what is wrong with cfg. What cfg
// points to must not be changed afterwards.
func New(cfg Config) (*Simboard, error) {
	if err := cfg.validate(); err != nil {
		return nil, fmt.Errorf("setting up the simulated bench: %w", err)
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	return &Simboard{
		cfg:     cfg,
		gainDB:  make([]float64, len(cfg.Interface.Inputs)),
		ladders: map[ladderKey]panels{},
	}, nil
}

// Describe says that this is a simulation.
func (s *Simboard) Describe() capture.Description {
	return capture.Description{
		Kind:      "simboard",
		Device:    "simulated bench",
		RateHz:    s.cfg.RateHz,
		Inputs:    len(s.cfg.Interface.Inputs),
		Outputs:   s.cfg.Interface.Outputs,
		Simulated: true,
	}
}

// SetInputGainDB turns the knob of an input, counted from 1: dB more gain
// lowers its full scale by as much. 0 is where Config has it. Its own noise
// and hum stay as they are at the terminals.
func (s *Simboard) SetInputGainDB(channel int, dB float64) error {
	if channel < 1 || channel > len(s.gainDB) {
		return fmt.Errorf("turning the gain of input %d: the simulated interface has inputs 1 to %d", channel, len(s.gainDB))
	}
	if !within(dB, -60, 60) {
		return fmt.Errorf("turning the gain of input %d: %g dB is outside -60 to 60 dB", channel, dB)
	}
	s.gainDB[channel-1] = dB
	return nil
}

// SetOutputGainDB turns the output's level control; 0 is where Config has it.
func (s *Simboard) SetOutputGainDB(dB float64) error {
	if !within(dB, -60, 60) {
		return fmt.Errorf("turning the level of the output: %g dB is outside -60 to 60 dB", dB)
	}
	s.outputGainDB = dB
	return nil
}

// boardInputs gives, for each output of the board, the index of the input
// that it is connected to in a patch.
func (c *Config) boardInputs(p capture.Patch) []int {
	in := make([]int, len(c.Board.Outputs))
	for i := range in {
		in[i] = i
		if p == capture.Swapped && i < 2 {
			in[i] = 1 - i
		}
	}
	return in
}

// ladder returns the interpolated ladder of a take in the patch ToBoard or
// Swapped.
func (r *run) ladder() panels {
	b, all := &r.cfg.Board, r.bench.ladders
	key := ladderKey{r.req.Patch, b.shorted, b.frontFarads(), b.Buffer}
	if all[key] == nil {
		all[key] = r.wires.ladder.interpolate(r.rateHz / 2)
	}
	return all[key]
}

// States that need no list of names.
const (
	allBypassed = "all bypassed"
	allEngaged  = "all engaged"
)

// effects returns what the devices do in a state: "" or "all bypassed", "all
// engaged", or names of devices between commas.
func (b *Board) effects(state string) ([]Effect, error) {
	engaged := map[string]bool{}
	if state != "" && state != allBypassed && state != allEngaged {
		for name := range strings.SplitSeq(state, ",") {
			name = strings.TrimSpace(name)
			if !slices.ContainsFunc(b.Devices, func(d Device) bool { return d.Name == name }) {
				return nil, fmt.Errorf("state %q: the simulated board has no device %q, it has %s", state, name, b.deviceNames())
			}
			engaged[name] = true
		}
	}
	var effects []Effect
	for _, d := range b.Devices {
		if d.Effect != nil && (d.AlwaysOn || engaged[d.Name] || state == allEngaged) {
			effects = append(effects, d.Effect)
		}
	}
	return effects, nil
}

func (b *Board) deviceNames() string {
	if len(b.Devices) == 0 {
		return "none"
	}
	var names []string
	for _, d := range b.Devices {
		names = append(names, d.Name)
	}
	return strings.Join(names, ", ")
}

// checkRequest says what is wrong with a request.
func (s *Simboard) checkRequest(req capture.Request) error {
	switch {
	case req.Signal == nil || len(req.Signal.Samples) == 0:
		return errors.New("no signal to play")
	case req.Signal.RateHz != s.cfg.RateHz:
		return fmt.Errorf("the signal is at %d Hz and the simulated interface runs at %d Hz: make the signal at that rate",
			req.Signal.RateHz, s.cfg.RateHz)
	case len(req.Outputs) == 0:
		return errors.New("no output to play on")
	}
	if err := checkChannels("output", req.Outputs, s.cfg.Interface.Outputs); err != nil {
		return err
	}
	return s.checkInputs(req)
}

// checkInputs says what is wrong with what a request records, and how.
func (s *Simboard) checkInputs(req capture.Request) error {
	if len(req.Inputs) == 0 {
		return errors.New("no input to record")
	}
	if err := checkChannels("input", req.Inputs, len(s.cfg.Interface.Inputs)); err != nil {
		return err
	}
	switch req.Patch {
	case "", capture.ToBoard, capture.Loopback, capture.Terminated, capture.LoopbackOne:
	case capture.LoopbackSeries:
		if !within(req.SeriesOhms, 1e-3, 1e8) {
			return fmt.Errorf("a series resistor of %g Ω is outside 0.001 to 1e8 Ω", req.SeriesOhms)
		}
	case capture.KnownSource:
		if s.cfg.Interface.Source == (Tone{}) {
			return errors.New("this simulated bench has no known source")
		}
	case capture.Swapped, capture.LoopbackSwapped:
		if len(s.cfg.Interface.Inputs) < 2 {
			return errors.New("two inputs are needed to swap, the simulated interface has one")
		}
	default:
		return fmt.Errorf("patch %q is not one that the simulated bench knows", req.Patch)
	}
	return nil
}

func checkChannels(what string, channels []int, count int) error {
	for i, c := range channels {
		if c < 1 || c > count {
			return fmt.Errorf("%s %d does not exist, the simulated interface has %d", what, c, count)
		}
		if slices.Contains(channels[:i], c) {
			return fmt.Errorf("%s %d is asked for twice", what, c)
		}
	}
	return nil
}
