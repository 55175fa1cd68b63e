package analysis

import "math"

// Estimate is a value and its standard uncertainty, in one unit.
type Estimate struct {
	Value float64 `json:"value"`
	Std   float64 `json:"std"`
}

// Hypot combines uncorrelated standard uncertainties: JCGM 100:2008, eq. 10
// with unit sensitivities.
func Hypot(std ...float64) float64 {
	sum := 0.0
	for _, s := range std {
		sum += s * s
	}
	return math.Sqrt(sum)
}

// Floor is what the bench itself adds at one input, in volts at that input,
// measured with the input terminated.
type Floor struct {
	// Noise and Hiss are RMS volts from 20 Hz to 20 kHz by weighting ("none",
	// "A", "468").
	Noise map[string]Estimate `json:"noise,omitempty"`
	Hiss  map[string]Estimate `json:"hiss,omitempty"`
	// MainsHz is the mains frequency that Harmonics belong to, 0 if none was found.
	MainsHz float64 `json:"mains_hz,omitempty"`
	// Hum is the RMS sum of the harmonics; Harmonics are RMS volts, the first
	// is the fundamental.
	Hum       Estimate   `json:"hum"`
	Harmonics []Estimate `json:"harmonics,omitempty"`
	// Tones are the bench's own lines off the mains comb.
	Tones []FloorTone `json:"tones,omitempty"`
}

// FloorTone is one line of the bench's own.
type FloorTone struct {
	FrequencyHz float64  `json:"frequency_hz"`
	Level       Estimate `json:"level"` // RMS volts
}

// Transfer is a complex ratio, out over in, on a grid of frequencies. All
// slices have one length. It is written as two real slices so that it can
// travel as JSON.
type Transfer struct {
	FrequencyHz []float64 `json:"frequency_hz"`
	Re          []float64 `json:"re"`
	Im          []float64 `json:"im"`
	// RelStd is the standard uncertainty of the magnitude relative to it, and
	// of the phase in radians.
	RelStd []float64 `json:"rel_std"`
}
