package simboard

import (
	"cmp"
	"fmt"
	"strings"
)

// readyBoards change the good board into each of the others. All values are
// invented.
var readyBoards = []struct {
	name   string
	change func(*Config)
}{
	{"good", func(*Config) {}},
	// Long runs of cable ahead of the buffer: 10 kΩ into about 3.1 nF.
	{"dull", func(c *Config) { c.Board.CableFarads = 2.9e-9 }},
	// A second amplifier on another outlet, and no isolation in its lead.
	{"ground-loop", func(c *Config) {
		c.Board.Outputs[1].Hum.GroundLoop = &GroundLoop{AmpsRMS: 0.022, ShieldOhms: 0.045, PhaseRad: 0.6,
			From: AmplifierAt("B"), To: BenchEarth, LoopOhms: 0.8, IsolatorFarads: 300e-12}
	}},
	// The delay's outlet has a small reservoir for its load.
	{"supply-ripple", func(c *Config) {
		c.device("delay").Hum.Ripple = &Ripple{PeakVolts: 12.5, ReservoirFarads: 1000e-6, LoadAmps: 0.28, RejectionDB: 66, Lean: 0.002}
	}},
	// A lamp's cable beside the input.
	{"dimmer", func(c *Config) {
		c.Board.InputHum.Dimmer = &Dimmer{MainsVoltsRMS: 230, FiringDeg: 95, StrayFarads: 0.15e-12, NodeOhms: 10e3}
	}},
	// A plug whose shield is off, ahead of everything.
	{"open-shield", func(c *Config) {
		c.Board.InputHum.Electric = &Electric{MainsVoltsRMS: 230, StrayFarads: 1.1e-12, NodeOhms: 10e3, PhaseRad: 2}
	}},
	// The fuzz lies in the field of somebody's transformer.
	{"stray-field", func(c *Config) {
		c.device("fuzz").Hum.Magnetic = &Magnetic{AmpsRMS: 0.4, MutualHenrys: 2e-6, PhaseRad: 1, AngleDeg: 25, UprightShare: 0.05}
	}},
	// Two converters above hearing, whose difference is heard.
	{"whine", func(c *Config) {
		c.device("chorus").Tones = []Tone{{FrequencyHz: 64310, VoltsRMS: 0.02, LinewidthHz: 0.05}}
		c.device("delay").Tones = []Tone{{FrequencyHz: 62840, VoltsRMS: 0.017, LinewidthHz: 0.03}}
		c.Board.BendPerVolt = 0.25
	}},
	// The bench's computer, by way of the interface.
	{"laptop", func(c *Config) {
		c.Interface.Laptop = Laptop{
			Frames: Pulses{PeakVolts: 250e-6, Duty: 0.04}, Microframes: Pulses{PeakVolts: 80e-6, Duty: 0.2}, ClockPPM: 14,
			ChargerHum: []Harmonic{{1, 12e-6, 0.4}, {3, 7e-6, 1.9}, {5, 4e-6, 3}}, ChargerTones: []Tone{{FrequencyHz: 2210, VoltsRMS: 9e-6, LinewidthHz: 3}},
		}
	}},
	// Secondary reversed, and taken from the wrong tap.
	{"flipped-split", func(c *Config) {
		c.Board.Outputs[1].Transformer.Reversed = true
		c.Board.Outputs[1].Transformer.TurnsRatio = 0.8075
	}},
	{"intermittent", func(c *Config) {
		c.Board.Joints = []Joint{{Output: "A", AtS: []float64{1.7, 3.1}, PerMinute: 20, DurationS: 0.012, Gain: 0.02, CrackleVoltsRMS: 0.003}}
	}},
	{"compressor", func(c *Config) { c.device("compressor").AlwaysOn = true }},
	{"chorus", func(c *Config) { c.device("chorus").AlwaysOn = true }},
}

// ReadyNames lists the ready-made boards: the good one, and each of the others
// with what its name says. What a hum hunt finds on them: "ground-loop" runs
// through the amplifier at B; "supply-ripple" comes from the delay's outlet;
// "dimmer" and "open-shield" come in at the input; "stray-field" at the fuzz,
// from outside; "whine" is chorus and delay together; "laptop" is no fault of
// the board.
func ReadyNames() []string {
	names := make([]string, len(readyBoards))
	for i, r := range readyBoards {
		names[i] = r.name
	}
	return names
}

// Ready returns a ready-made board on a 48 kHz interface: "good", or one with
// one fault that its name says.
func Ready(name string) (Config, error) {
	for _, r := range readyBoards {
		if r.name == name {
			c := good()
			r.change(&c)
			return c, nil
		}
	}
	return Config{}, fmt.Errorf("choosing a simulated board: %q is not one of %s", name, strings.Join(ReadyNames(), ", "))
}

func (c *Config) device(name string) *Device {
	for i := range c.Board.Devices {
		if c.Board.Devices[i].Name == name {
			return &c.Board.Devices[i]
		}
	}
	return &Device{}
}

// CallDevices gives the board a chain of devices of these names, in the order of the
// signal: what the devices it has do, and what comes in at them, is at the first of
// these, that of all that are left at the last. No names leave it as it is.
func (c *Config) CallDevices(names []string) {
	if len(names) == 0 {
		return
	}
	chain := make([]Device, len(names))
	for i, name := range names {
		chain[i].Name = name
	}
	for i, d := range c.Board.Devices {
		to := &chain[min(i, len(chain)-1)]
		for _, h := range c.hums() {
			if h.Magnetic != nil && h.Magnetic.From == d.Name {
				h.Magnetic.From = to.Name
			}
		}
		to.join(d)
	}
	c.Board.Devices = chain
}

// join makes d do what o does besides, where it does not yet.
func (d *Device) join(o Device) {
	d.BypassFarads += o.BypassFarads
	if !d.AlwaysOn && (o.AlwaysOn || d.Effect == nil) {
		d.AlwaysOn, d.Effect = o.AlwaysOn, o.Effect
	}
	h := &d.Hum
	h.Magnetic, h.Ripple, h.Electric = cmp.Or(h.Magnetic, o.Hum.Magnetic), cmp.Or(h.Ripple, o.Hum.Ripple), cmp.Or(h.Electric, o.Hum.Electric)
	h.Dimmer, h.Swing = cmp.Or(h.Dimmer, o.Hum.Dimmer), cmp.Or(h.Swing, o.Hum.Swing)
	d.Tones = append(d.Tones, o.Tones...)
}

// good is a sound board: one buffer behind the fuzz, output A direct, output
// B through an isolating transformer. All values are invented.
func good() Config {
	return Config{
		RateHz:       48000,
		TemperatureK: 295,
		Seed:         1,
		Mains:        Mains{StartHz: 50.012, DriftHzPerS: 0.0004, WanderHzPerRootS: 0.0006},
		Interface:    goodInterface(),
		Board: Board{
			Source:      Source{Ohms: 10e3},
			CableFarads: 120e-12,
			Devices: []Device{
				{Name: "fuzz", BypassFarads: 45e-12, Effect: Clipper{GainDB: 12, Second: 0.02, Third: 0.05}},
				{Name: "boost", BypassFarads: 40e-12, Effect: Clipper{GainDB: 8, Second: 0.001}},
				{Name: "compressor", Effect: Compressor{ThresholdDBu: -20, Ratio: 4, AttackS: 0.005, ReleaseS: 0.12, MakeupDB: 6}},
				{Name: "chorus", Effect: Chorus{DelayS: 0.008, DepthS: 0.002, RateHz: 0.9, Mix: 0.6}},
				{Name: "delay"},
			},
			// NoiseVolts stands for the buffer and the switching stages behind
			// it together.
			Buffer: Buffer{
				Ohms: 1e6, Farads: 25e-12, Gain: 1.01,
				NoiseVolts: 85e-9, NoiseCornerHz: 60, NoiseAmps: 0.1e-12,
				OutputOhms: 100, CouplingFarads: 33e-6,
				Second: 1e-4, Third: 1e-5, RailVolts: 4.4,
			},
			Outputs: []Output{
				{Name: "A", SeriesOhms: 558, TerminationOhms: 22e3, CableFarads: 450e-12, Hum: Hum{
					GroundLoop: &GroundLoop{AmpsRMS: 0.2e-3, ShieldOhms: 0.02},
					Ripple:     &Ripple{PeakVolts: 13, ReservoirFarads: 2200e-6, LoadAmps: 0.35, RejectionDB: 110},
				}},
				{Name: "B", SeriesOhms: 220, TerminationOhms: 22e3, CableFarads: 450e-12,
					Transformer: &Transformer{
						PrimaryHenrys: 40, LeakageHenrys: 4e-3, PrimaryOhms: 150, SecondaryOhms: 170,
						WindingFarads: 150e-12, InterwindingFarads: 90e-12, TurnsRatio: 1,
					},
					Hum: Hum{
						Magnetic: &Magnetic{AmpsRMS: 0.3, MutualHenrys: 2.5e-8, PhaseRad: 1.1},
						Electric: &Electric{MainsVoltsRMS: 230, StrayFarads: 0.02e-12, NodeOhms: 700},
					}},
			},
		},
	}
}

// goodInterface has two high-impedance inputs, as an amplifier's are. All
// values are invented.
func goodInterface() Interface {
	return Interface{
		OutputFullScaleDBu: 12.4, OutputOhms: 75, Outputs: 2, OutputNoiseDBu: -102,
		Second: 8e-6, Third: 5e-6, LatencyFrames: 253.37,
		CrosstalkFarads: 1.6e-12, CrosstalkOhms: 1e3, SeriesOff: 0.003,
		Source: Tone{FrequencyHz: 1000.013, VoltsRMS: 1.0012},
		Inputs: []Input{
			{FullScaleDBu: 11.8, Ohms: 1e6, Farads: 60e-12, NoiseDBu: -105, NoiseCornerHz: 40, CouplingHz: 2, DroopDB: 2.5,
				Hum: []Harmonic{{1, 0.35e-6, 0.3}, {2, 0.2e-6, 1.2}, {3, 0.25e-6, 2}, {5, 0.1e-6, 4}}},
			{FullScaleDBu: 12.1, Ohms: 1e6, Farads: 60e-12, NoiseDBu: -104.6, NoiseCornerHz: 40, CouplingHz: 2.1, DroopDB: 2.6,
				DelayFrames: 0.012,
				Hum:         []Harmonic{{1, 0.3e-6, 0.5}, {2, 0.25e-6, 1.1}, {3, 0.2e-6, 2.2}, {5, 0.12e-6, 4.1}}},
		},
	}
}
