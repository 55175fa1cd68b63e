package analysis

import "math"

// MethodVersion is kept with each reading; it grows when an estimator's
// result changes.
const MethodVersion = "3"

// CoverageK is the factor that expands a standard uncertainty to an interval
// of about 95 %: JCGM 100:2008, 6.3.3.
const CoverageK = 2.0

// Quantities that readings and curves are called by. They are part of the
// JSON contract.
const (
	Gain            = "gain"              // dB
	LowCorner       = "low_corner"        // Hz
	HighCorner      = "high_corner"       // Hz
	Flatness        = "flatness"          // dB
	Noise           = "noise"             // dBu, all that is there in silence
	Hiss            = "hiss"              // dBu, without mains comb and tones
	MainsFrequency  = "mains_frequency"   // Hz
	Hum             = "hum"               // dBu, all harmonics
	HumHarmonic     = "hum_harmonic"      // dBu
	OtherTone       = "other_tone"        // dBu
	LevelMatch      = "level_match"       // dB, output over reference
	WorstLevelMatch = "worst_level_match" // dB
	DelayMatch      = "delay_match"       // µs, output minus reference
	PolarityMatch   = "polarity_match"    // +1 or -1
	THD             = "thd"               // %
	THDN            = "thd_n"             // %
	ClockError      = "clock_error"       // ppm
	Delay           = "delay"             // µs
	Polarity        = "polarity"          // +1 or -1
	Level           = "level"             // dBu
	DropOuts        = "drop_outs"         // count
	BenchGainDrift  = "bench_gain_drift"  // dB, the loopback's gain over the profile's

	Response        = "response"         // curve, dB and degrees
	NoiseDensity    = "noise_density"    // curve, dBu in 1 Hz
	SplitDifference = "split_difference" // curve, dB
	ThirdOctaves    = "third_octaves"    // curve, dBu per band
	HarmonicLevel   = "harmonic_level"   // curve, dB below the fundamental
)

// UnitOf returns the unit of a quantity's readings; "" for counts and signs.
func UnitOf(quantity string) string {
	switch quantity {
	case Gain, Flatness, LevelMatch, WorstLevelMatch, BenchGainDrift, Response, SplitDifference, HarmonicLevel:
		return "dB"
	case Noise, Hiss, Hum, HumHarmonic, OtherTone, Level, NoiseDensity, ThirdOctaves:
		return "dBu"
	case LowCorner, HighCorner, MainsFrequency:
		return "Hz"
	case Delay, DelayMatch:
		return "µs"
	case THD, THDN:
		return "%"
	case ClockError:
		return "ppm"
	}
	return ""
}

// Reading is one figure and how far it can be believed.
type Reading struct {
	Quantity string `json:"quantity"`
	// Output is the board's output it was read at; Reference the one it is
	// compared with.
	Output    string `json:"output,omitempty"`
	Reference string `json:"reference,omitempty"`
	// State names the devices that were engaged.
	State string `json:"state,omitempty"`
	// FrequencyHz is where in frequency it was read, 0 where that has no meaning.
	FrequencyHz float64 `json:"frequency_hz,omitempty"`
	// Harmonic counts from 1, the mains fundamental.
	Harmonic int `json:"harmonic,omitempty"`
	// Weighting is "none", "A" or "468".
	Weighting string  `json:"weighting,omitempty"`
	Value     float64 `json:"value"`
	Unit      string  `json:"unit"`
	// Uncertainty is half the width of the interval that holds the truth with
	// 95.45 %, in Unit, as [Budget.Expanded] gives it; K is the factor of a
	// normal distribution with that interval.
	Uncertainty float64 `json:"uncertainty"`
	K           float64 `json:"k"`
	// UpperBound: the true figure is not above Value; it could not be told
	// from the noise.
	UpperBound bool `json:"upper_bound,omitempty"`
	// LowerBound: the true figure is not below Value; it is beyond what was
	// measured.
	LowerBound bool `json:"lower_bound,omitempty"`
	// FloorLimited: the bench, not the board, sets the figure.
	FloorLimited bool `json:"floor_limited"`
	// Note qualifies the reading in a few words.
	Note string `json:"note,omitempty"`
	// Budget is what Uncertainty consists of.
	Budget Budget `json:"budget,omitempty"`
}

// Curve is a quantity against frequency; all its slices have one length.
type Curve struct {
	Quantity    string    `json:"quantity"`
	Output      string    `json:"output,omitempty"`
	Reference   string    `json:"reference,omitempty"`
	State       string    `json:"state,omitempty"`
	Harmonic    int       `json:"harmonic,omitempty"`
	FrequencyHz []float64 `json:"frequency_hz"`
	Value       []float64 `json:"value"`
	Unit        string    `json:"unit"`
	PhaseDeg    []float64 `json:"phase_deg,omitempty"`
	// PhaseUncertaintyDeg and GroupDelayUS go with PhaseDeg.
	PhaseUncertaintyDeg []float64 `json:"phase_uncertainty_deg,omitempty"`
	GroupDelayUS        []float64 `json:"group_delay_us,omitempty"`
	// Uncertainty is of Value, expanded as a Reading's is.
	Uncertainty []float64 `json:"uncertainty,omitempty"`
	// NoiseUncertainty is the part of Uncertainty that comes of the noise
	// recorded beside the signal, expanded.
	NoiseUncertainty []float64 `json:"noise_uncertainty,omitempty"`
	// LoopNoiseUncertainty is the part that comes of the noise when the bench was
	// calibrated, expanded: it is the same for all curves of one profile.
	LoopNoiseUncertainty []float64 `json:"loop_noise_uncertainty,omitempty"`
	// SharedUncertainty is the part of Uncertainty that moves all points alike,
	// expanded: it cancels between two points.
	SharedUncertainty float64 `json:"shared_uncertainty,omitempty"`
	// Note qualifies the curve in a few words.
	Note string `json:"note,omitempty"`
	// UpperBound is where the true figure is not above Value; empty where nowhere.
	UpperBound []bool `json:"upper_bound,omitempty"`
	// LowerBound is where the true figure is not below Value, as where the reference of
	// a difference is under the noise; empty where nowhere.
	LowerBound []bool `json:"lower_bound,omitempty"`
	// Fine is the same curve from lowHz to highHz, both included, on a grid so fine
	// that nothing the measurement tells apart lies between two points, without phase.
	// It is nil for a curve that was kept.
	Fine func(lowHz, highHz float64) Curve `json:"-"`
}

// Refusal is a quantity that a take could not support, and why.
type Refusal struct {
	Quantity  string `json:"quantity"`
	Output    string `json:"output,omitempty"`
	Reference string `json:"reference,omitempty"`
	State     string `json:"state,omitempty"`
	Reason    string `json:"reason"`
}

// Result is what one take, or one step, gave.
type Result struct {
	Readings []Reading
	Curves   []Curve
	Refused  []Refusal
}

// Add appends all of o to r.
func (r *Result) Add(o Result) {
	r.Readings = append(r.Readings, o.Readings...)
	r.Curves = append(r.Curves, o.Curves...)
	r.Refused = append(r.Refused, o.Refused...)
}

// VoltsAt0DBu is the RMS voltage of 0 dBu: 1 mW in 600 Ω, √0.6 V.
var VoltsAt0DBu = math.Sqrt(0.6)

// DBu returns the level in dBu of an RMS voltage.
func DBu(voltsRMS float64) float64 { return 20 * math.Log10(voltsRMS/VoltsAt0DBu) }

// VoltsFromDBu returns the RMS voltage of a level in dBu.
func VoltsFromDBu(dbu float64) float64 { return VoltsAt0DBu * math.Pow(10, dbu/20) }

// DB returns 20·log10 of an amplitude ratio.
func DB(ratio float64) float64 { return 20 * math.Log10(ratio) }

// DBFromRelative turns a small relative standard uncertainty of an amplitude
// into decibels: 20/ln 10 times it.
func DBFromRelative(rel float64) float64 { return 20 / math.Ln10 * rel }
