package simboard

import (
	"time"

	"boardproof/capture"
)

// Config is a whole simulated bench with a board on it. The same Config and
// the same sequence of requests give the same samples.
type Config struct {
	Interface Interface
	Board     Board
	Mains     Mains
	// RateHz is the sample rate of the interface.
	RateHz int
	// TemperatureK is that of every resistor, in kelvin.
	TemperatureK float64
	Seed         uint64
	// Now gives the time at which a take starts; nil means time.Now.
	Now func() time.Time
	// Slip, where not nil, says how the bench really is connected where a
	// patch was asked for: leads are forgotten.
	Slip func(asked capture.Patch) capture.Patch
	// Unpaced: listening goes as fast as it can, not by the clock.
	Unpaced bool
}

// Interface is the simulated audio interface. Output 1 is what the board, or
// the loopback lead, is connected to.
type Interface struct {
	// OutputFullScaleDBu is the open-circuit level of a sine whose peaks just
	// reach full scale.
	OutputFullScaleDBu float64
	OutputOhms         float64
	// Outputs counts the output channels.
	Outputs int
	// OutputNoiseDBu is the converter's white noise at the output, 20 Hz to 20 kHz.
	OutputNoiseDBu float64
	// OutputCouplingHz and OutputDroopDB are what the output does to what is
	// played, as CouplingHz and DroopDB of an [Input]. It is no part of the
	// board's [Truth].
	OutputCouplingHz, OutputDroopDB float64
	// Second and Third are the amplitudes of the output's own harmonics,
	// relative to the fundamental, for a sine at full scale.
	Second, Third float64
	// LatencyFrames is the whole way from play to record, in frames; it need
	// not be an integer.
	LatencyFrames float64
	// ClockPPM is the recording clock against the playing one. 0 for an
	// interface, other values for a recorder with a clock of its own.
	ClockPPM float64
	// CrosstalkFarads couples the terminals of each input into every other one
	// behind its terminals, where the impedance is CrosstalkOhms. 0 is none.
	CrosstalkFarads, CrosstalkOhms float64
	// LeadOhms is the resistance of the loopback lead to each input; leads that
	// are not given have none.
	LeadOhms []float64
	// SeriesOff is by how much a resistor put in the lead is off its nominal
	// value, relative to it.
	SeriesOff float64
	// Source is what stands at every input in the patch KnownSource.
	Source Tone
	// Laptop is the bench's computer; its zero value brings nothing.
	Laptop Laptop
	Inputs []Input
}

// Input is one input channel of the interface.
type Input struct {
	// FullScaleDBu is the level of a sine whose peaks just reach full scale.
	FullScaleDBu float64
	Ohms         float64
	Farads       float64
	// NoiseDBu is the input's own noise, 20 Hz to 20 kHz, terminated. It
	// rises as 1/f below NoiseCornerHz.
	NoiseDBu      float64
	NoiseCornerHz float64
	// CouplingHz is the corner of the first-order high-pass at the input.
	CouplingHz float64
	// DroopDB is the loss at half the rate; it goes with the 16th power of
	// frequency, as an anti-alias filter's does near its edge.
	DroopDB float64
	// DelayFrames is this channel's delay beyond the interface's latency.
	DelayFrames float64
	// Hum and Tones are there in every patch.
	Hum   []Harmonic
	Tones []Tone
}

// Harmonic is one line of the mains comb.
type Harmonic struct {
	// N counts from 1, the fundamental.
	N        int
	VoltsRMS float64
	PhaseRad float64
}

// Tone is a line that is not locked to the mains: converter whine, a clock.
// Two close together beat.
type Tone struct {
	FrequencyHz float64
	VoltsRMS    float64
	// LinewidthHz is the full width at half maximum that the oscillator's
	// phase jitter (a random walk) gives the line.
	LinewidthHz float64
}

// Mains is the supply that all mains-borne hum shares.
type Mains struct {
	// StartHz is the frequency at the start of each take, DriftHzPerS its
	// drift, and WanderHzPerRootS the growth of its random walk.
	StartHz          float64
	DriftHzPerS      float64
	WanderHzPerRootS float64
}

// Board is the simulated pedalboard.
type Board struct {
	Source Source
	// CableFarads is all cable ahead of the buffer.
	CableFarads float64
	Devices     []Device
	Buffer      Buffer
	Outputs     []Output
	Joints      []Joint
	// InputHum comes in at the buffer's input, with what is plugged in there;
	// its volts are those at that node. It has no ground loop and no ripple.
	InputHum Hum
	// BendPerVolt is the second-order bend that the tones of all devices pass
	// together on the board: of x it makes x + BendPerVolt·x², and so, of two
	// converters above hearing, a difference that is heard.
	BendPerVolt float64

	shorted bool
}

// Source is what stands between the interface's output and the board's input:
// an adapter with the source resistance of a guitar, or a whole pickup.
type Source struct {
	Ohms   float64
	Henrys float64
	// Farads is the pickup's own winding capacitance.
	Farads float64
}

// Device is one device on the board.
type Device struct {
	Name string
	// BypassFarads is what the device adds ahead of the buffer.
	BypassFarads float64
	// AlwaysOn devices act in every state.
	AlwaysOn bool
	// Effect acts while the device is engaged, after the input buffer; nil
	// passes the signal.
	Effect Effect
	// Hum and Tones come in at the device, in volts at the buffer's output:
	// its ripple and tones by its supply outlet, the rest by the device's own
	// wiring. It has no ground loop.
	Hum   Hum
	Tones []Tone
}

// Buffer is the board's input buffer.
type Buffer struct {
	Ohms, Farads float64
	// Gain is volts out over volts in.
	Gain float64
	// NoiseVolts is in V/√Hz, rising as 1/f below NoiseCornerHz; NoiseAmps in A/√Hz.
	NoiseVolts    float64
	NoiseCornerHz float64
	NoiseAmps     float64
	OutputOhms    float64
	// CouplingFarads is in series with the output; 0 is a direct connection.
	CouplingFarads float64
	// Second and Third are the amplitudes of the harmonics, relative to the
	// fundamental, of a sine of 0 dBu at the buffer's output.
	Second, Third float64
	// RailVolts is where the output clips, in peak volts; 0 is nowhere.
	RailVolts float64
}

// Output is one output of the board with its load's cable. Output i is
// connected to the interface's input i+1.
type Output struct {
	Name string
	// SeriesOhms is the build-out resistor at the split.
	SeriesOhms  float64
	Transformer *Transformer
	// TerminationOhms lies across the output on the board; 0 is none.
	TerminationOhms float64
	CableFarads     float64
	// Hum and Tones come in at the output; its ripple and tones are those of
	// the board's own supply.
	Hum   Hum
	Tones []Tone
}

// Transformer isolates an output.
type Transformer struct {
	PrimaryHenrys float64
	// LeakageHenrys is referred to the primary, secondary shorted.
	LeakageHenrys              float64
	PrimaryOhms, SecondaryOhms float64
	WindingFarads              float64 // across the secondary
	InterwindingFarads         float64 // primary to secondary
	TurnsRatio                 float64 // secondary over primary
	Reversed                   bool
}

// Joint is a joint that opens now and then.
type Joint struct {
	// Output is the output it is in; "" is ahead of the split, in all of them.
	Output string
	// AtS are times in the take; PerMinute is the rate of random drop-outs
	// (Poisson) besides.
	AtS       []float64
	PerMinute float64
	DurationS float64
	// Gain is what is left while the joint is open, 0 to 1.
	Gain float64
	// CrackleVoltsRMS is white noise while it is open.
	CrackleVoltsRMS float64
}
