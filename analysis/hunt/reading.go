package hunt

import (
	"boardproof/analysis"
)

// Groups of what a silence holds, in the order in which they are shown.
const (
	// Fundamental is the mains line itself, at 50 or 60 Hz.
	Fundamental = "fundamental"
	// Even and Odd are the other mains harmonics up to 1 kHz; Odd starts at the third.
	Even = "even harmonics"
	Odd  = "odd harmonics"
	// Buzz is all mains harmonics above 1 kHz.
	Buzz = "buzz above 1 kHz"
	// OtherTones are the lines that are not on the mains comb.
	OtherTones = "other tones"
	// Hiss is what is left, from 20 Hz to 20 kHz, unweighted.
	Hiss = "hiss"
)

// Groups lists the groups in the order in which they are shown.
func Groups() []string { return []string{Fundamental, Even, Odd, Buzz, OtherTones, Hiss} }

// Level is one level in RMS volts, the bench's own share taken off.
type Level struct {
	RMS analysis.Estimate `json:"rms_v"`
	// UpperBound: there is no more than RMS.Value, at 95 % confidence.
	UpperBound bool `json:"upper_bound,omitempty"`
	// FloorLimited: what was read is within 3 dB of the bench's own, which may
	// be all there is.
	FloorLimited bool `json:"floor_limited,omitempty"`
	// RawRMS is what was recorded, the bench's own included, and BenchRMS what
	// the bench has by itself; 0 where no profile says so.
	RawRMS   float64 `json:"raw_rms_v"`
	BenchRMS float64 `json:"bench_rms_v,omitempty"`
}

// DBu returns the level and its expanded uncertainty.
func (l Level) DBu() (dBu, expandedDB float64) {
	if l.RMS.Value <= 0 {
		return analysis.DBu(0), 0
	}
	return analysis.DBu(l.RMS.Value), analysis.CoverageK * analysis.DBFromRelative(l.RMS.Std/l.RMS.Value)
}

// Harmonic is one line of the mains comb.
type Harmonic struct {
	// N counts from 1, the fundamental.
	N int `json:"n"`
	Level
	// PhaseRad is that of a cosine, at one moment that all harmonics of the
	// reading share; it means something where PhaseKnown.
	PhaseRad   float64 `json:"phase_rad"`
	PhaseKnown bool    `json:"phase_known,omitempty"`
}

// Tone is a line, or a smear of lines close together, off the mains comb.
type Tone struct {
	FrequencyHz analysis.Estimate `json:"frequency_hz"`
	Level
	// WidthHz is from the first to the last line of the smear, 0 for one line.
	WidthHz float64 `json:"width_hz,omitempty"`
	// Family says what such a line commonly is, or nothing.
	Family string `json:"family,omitempty"`
}

// Reading is what one silence says at one output.
type Reading struct {
	Output    string    `json:"output"`
	Condition Condition `json:"condition"`
	// AtS is when it was taken, from the start of the hunt; readings that all
	// have 0 are taken to be evenly spaced in the order they come in.
	AtS float64 `json:"at_s"`
	// Reason, where not empty, says why nothing could be read; the rest is then empty.
	Reason  string  `json:"reason,omitempty"`
	LengthS float64 `json:"length_s"`
	// InVolts is false where no full scale is known: all levels are then in
	// full scales, and only their changes mean anything.
	InVolts bool `json:"in_volts"`
	// MainsHz is the mains frequency; its value is 0 where no comb was found.
	MainsHz     analysis.Estimate `json:"mains_hz"`
	DriftHzPerS analysis.Estimate `json:"drift_hz_per_s"`
	// Levels is by group; every group is there.
	Levels map[string]Level `json:"levels"`
	// Harmonics are the first 40, and those above that stand out of the noise;
	// HighBoundV is what any other above may be, RMS volts.
	Harmonics  []Harmonic `json:"harmonics,omitempty"`
	HighBoundV float64    `json:"high_bound_v,omitempty"`
	// Tones come strongest first.
	Tones []Tone `json:"tones,omitempty"`
	// ToneBoundV is what a tone that is not among them may be, RMS volts.
	ToneBoundV float64 `json:"tone_bound_v,omitempty"`
	// HumMovesDB is how far nine tenths of the take's pieces leave the hum's
	// level, 0 where it stands still.
	HumMovesDB float64 `json:"hum_moves_db,omitempty"`
	// Moving, where not empty, says what was moving during the take: ask for a repeat.
	Moving string `json:"moving,omitempty"`
}
