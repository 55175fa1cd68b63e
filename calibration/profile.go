// Package calibration holds the profile of one bench and turns a take's
// samples into volts with it.
//
// In this room: full scales, the bench's own response, latency, noise, hum
// and distortion, and the uncertainty of each. Not in this room: playing and
// recording (capture), estimators (analysis), and silent correction past a
// profile's validity.
package calibration

import (
	"time"

	"boardproof/analysis"
	"boardproof/capture"
)

// Profile is what is known of one bench. It is never changed once it is
// kept: a new calibration is a new profile.
type Profile struct {
	ID         string              `json:"id"`
	Bench      string              `json:"bench"`
	Instrument capture.Description `json:"instrument"`
	Created    time.Time           `json:"created"`     // UTC
	ValidUntil time.Time           `json:"valid_until"` // UTC
	Operator   string              `json:"operator,omitempty"`
	// Meter names the multimeter, Controls the positions of the gain controls
	// as the operator noted them.
	Meter string `json:"meter,omitempty"`
	// MeterReading or Source is what the full scales come from; both are nil in
	// profiles that were made before they were kept.
	MeterReading *MeterReading `json:"meter_reading,omitempty"`
	Source       *KnownSource  `json:"source,omitempty"`
	Controls     string        `json:"controls,omitempty"`
	TemperatureC *float64      `json:"temperature_c,omitempty"`
	Simulated    bool          `json:"simulated"`
	Method       string        `json:"method"`
	// Output is the channel that plays; OutputFullScaleDBu the level of a
	// sine whose peaks just reach full scale there.
	Output             int               `json:"output"`
	OutputFullScaleDBu analysis.Estimate `json:"output_full_scale_dbu"`
	// OutputFullScaleBudget is what its uncertainty consists of, in dB.
	OutputFullScaleBudget analysis.Budget `json:"output_full_scale_budget,omitempty"`
	// LoadingDB is by how much the inputs lowered the output's level while it
	// was metered and looped back.
	LoadingDB analysis.Estimate `json:"loading_db"`
	// OutputOhms is the output's impedance as its manual gives it, 0 where not
	// known.
	OutputOhms float64 `json:"output_ohms,omitempty"`
	Inputs     []Input `json:"inputs"`
	// Mismatch is between the first two inputs, nil where it was not measured.
	Mismatch *Mismatch `json:"mismatch,omitempty"`
}

// Input is what is known of one input channel.
type Input struct {
	Channel int `json:"channel"`
	// FullScaleDBu is the level of a sine whose peaks just reach full scale;
	// FullScaleBudget is what its uncertainty consists of, in dB.
	FullScaleDBu    analysis.Estimate `json:"full_scale_dbu"`
	FullScaleBudget analysis.Budget   `json:"full_scale_budget"`
	// Loopback is recorded over played, both in full scales, output straight
	// to this input, with LatencyS taken out of its phase. Their uncertainty is
	// that of the recording's noise.
	Loopback analysis.Transfer `json:"loopback"`
	LatencyS analysis.Estimate `json:"latency_s"`
	// PlugRelStd is how well the loopback lead repeats, relative, and
	// LeadDelayStdS how well its delay is known, in seconds.
	PlugRelStd    float64        `json:"plug_rel_std"`
	LeadDelayStdS float64        `json:"lead_delay_std_s"`
	Floor         analysis.Floor `json:"floor"`
	// NoiseDensity is the input's own noise, terminated, in dBu in 1 Hz.
	NoiseDensity analysis.Curve `json:"noise_density"`
	// THDPercent is the bench's own, at the calibration tone.
	THDPercent analysis.Estimate `json:"thd_percent"`
	// Impedance, Linearity and Crosstalk are empty where they were not measured.
	Impedance *Impedance  `json:"impedance,omitempty"`
	Linearity []LevelStep `json:"linearity,omitempty"`
	Crosstalk []Crosstalk `json:"crosstalk,omitempty"`
}
