package capture

import (
	"context"
	"time"

	"boardproof/testsignals"
)

// Instrument plays and records. Record returns one of:
//
//  1. a Take whose Samples have one row per requested input, all of one
//     length, at least as long as the signal, holding the whole signal as it
//     came back, and a nil error;
//  2. a nil Take and an error that says what was being done, to which
//     channel or device, and what to do next. ctx.Err() is wrapped when the
//     context ended first.
//
// A Take is never partly filled. When Record returns, for whatever reason,
// the outputs are silent. Record does not judge the take; Check does.
// Record is not called twice at once.
type Instrument interface {
	Describe() Description
	Record(ctx context.Context, req Request) (*Take, error)
}

// Description says which instrument this is.
type Description struct {
	// Kind is "soundcard", "simboard" or "wavtake".
	Kind string `json:"kind"`
	// Device is the device's name as its host gives it.
	Device string `json:"device"`
	// Host is the audio system that the device belongs to.
	Host string `json:"host,omitempty"`
	// RateHz is the sample rate the instrument was opened with.
	RateHz int `json:"rate_hz"`
	// Inputs and Outputs count the channels that exist.
	Inputs  int `json:"inputs"`
	Outputs int `json:"outputs"`
	// Simulated is true when no real board was involved.
	Simulated bool `json:"simulated"`
}

// Patch is how the bench is connected to the board for a take. A simulated
// bench acts on it; on a real one it is what the operator was asked to do.
type Patch string

// The patchings that are known.
const (
	// ToBoard: output to the board's input, the board's outputs to the inputs.
	ToBoard Patch = "board"
	// Loopback: output straight to the inputs, no board.
	Loopback Patch = "loopback"
	// Terminated: inputs terminated with a low resistance, nothing else connected.
	Terminated Patch = "terminated"
	// Swapped: as ToBoard with the first two inputs exchanged.
	Swapped Patch = "swapped"
	// LoopbackSwapped: as Loopback with the plugs in the first two inputs
	// exchanged.
	LoopbackSwapped Patch = "loopback-swapped"
	// LoopbackOne: output straight to the first of the request's inputs
	// alone, every other input terminated.
	LoopbackOne Patch = "loopback-one"
	// LoopbackSeries: as LoopbackOne with the request's resistor in series in
	// the lead.
	LoopbackSeries Patch = "loopback-series"
	// KnownSource: a source of known level, not of this interface, at every
	// input; nothing is played.
	KnownSource Patch = "source"
)

// Request is one take to be made. Channels are counted from 1.
type Request struct {
	Signal  *testsignals.Signal
	Outputs []int
	Inputs  []int
	// Patch and State are passed on into the take; State names the devices
	// that are engaged.
	Patch Patch
	State string
	// Conditions are passed on into the take, as Patch and State are; none
	// is as found.
	Conditions []Condition
	// SeriesOhms is the nominal value of the resistor in the lead, in the
	// patch LoopbackSeries.
	SeriesOhms float64
	// Progress, where not nil, is called a few times a second, never from
	// the audio callback, and must return soon.
	Progress func(Progress)
}

// Progress is how far a take is, for a person who waits.
type Progress struct {
	Seconds, OfSeconds float64
	// PeakDBFS is the peak of each input since the last report, in the order
	// of the request.
	PeakDBFS []float64
	// Inputs are their channels, where whoever asked for the take says so.
	Inputs []int
}

// Take is one recording.
type Take struct {
	// Signal is what was played; its zero value when that is not known.
	Signal testsignals.Spec `json:"signal"`
	// Samples are [channel][frame], full scale ±1. Frame 0 is not later than
	// the arrival of the signal's frame 0.
	Samples [][]float64 `json:"-"`
	RateHz  int         `json:"rate_hz"`
	// Inputs are the input channels, from 1, one per row of Samples.
	Inputs  []int  `json:"inputs"`
	Outputs []int  `json:"outputs"`
	Patch   Patch  `json:"patch,omitempty"`
	State   string `json:"state,omitempty"`
	// Conditions are how the bench differed from how the board was found.
	Conditions []Condition `json:"conditions,omitempty"`
	Started    time.Time   `json:"started"` // UTC
	// Instrument is where the take came from.
	Instrument Description `json:"instrument"`
	// ClockError is the other recorder's clock against the player's, where
	// it was estimated and removed.
	ClockError *ClockError `json:"clock_error,omitempty"`
	// MainsHz is the nominal frequency of the mains where it was made, 50 or 60; 0
	// where nobody named it.
	MainsHz float64 `json:"mains_hz,omitempty"`
	// HostFlags is what the audio host said of overflows. It is kept for the
	// record only: some hosts never say, one always does.
	HostFlags string `json:"host_flags,omitempty"`
	// HostMissed is set where the host flagged some of its cycles and not most,
	// as one does that always flags: a reason to look closer, and no more.
	HostMissed bool `json:"host_missed,omitempty"`
}

// ClockError is the ratio of two clocks, less one, in parts per million.
type ClockError struct {
	PPM float64 `json:"ppm"`
	// StdPPM is its standard uncertainty.
	StdPPM float64 `json:"std_ppm"`
	// DriftPPM is by how much it changed from the first pair of marks to the
	// last, DriftStdPPM the standard uncertainty of that.
	DriftPPM    float64 `json:"drift_ppm,omitempty"`
	DriftStdPPM float64 `json:"drift_std_ppm,omitempty"`
	// MiddleStdS is the standard uncertainty, in seconds, that the drift leaves
	// in a moment in the middle of the take, against its ends.
	MiddleStdS float64 `json:"middle_std_s,omitempty"`
}
