package calibration

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

// MeterReading is what a multimeter showed while a tone played.
type MeterReading struct {
	Name string
	// VoltsRMS is the reading.
	VoltsRMS float64
	// PercentOfReading and DigitsOff are the meter's accuracy at the tone's
	// frequency, as its manual gives it: ± (% of reading + digits).
	PercentOfReading float64
	DigitsOff        float64
	// ResolutionV is the voltage of one digit.
	ResolutionV float64
}

// MaxMeterHz is the highest tone that a cheap meter can be trusted with:
// common practice, no source.
const MaxMeterHz = 400

// Volts returns the reading with its standard uncertainty: the manual's
// limits as a rectangular distribution, and half a digit of rounding likewise
// (JCGM 100:2008, 4.3.7 and F.2.2.1).
func (m MeterReading) Volts() (analysis.Estimate, error) {
	if !(m.VoltsRMS > 0) || math.IsInf(m.VoltsRMS, 0) {
		return analysis.Estimate{}, fmt.Errorf("meter reading %g V must be above zero", m.VoltsRMS)
	}
	if !(m.PercentOfReading >= 0 && m.DigitsOff >= 0 && m.ResolutionV >= 0) {
		return analysis.Estimate{}, fmt.Errorf("meter accuracy ±(%g %% + %g digits of %g V) must not be negative",
			m.PercentOfReading, m.DigitsOff, m.ResolutionV)
	}
	limit := m.PercentOfReading/100*m.VoltsRMS + m.DigitsOff*m.ResolutionV
	std := analysis.Hypot(limit/math.Sqrt(3), m.ResolutionV/2/math.Sqrt(3))
	return analysis.Estimate{Value: m.VoltsRMS, Std: std}, nil
}

// OutputFullScale returns the full scale of an output in dBu from the level
// that a meter read of a tone of levelDBFS.
func OutputFullScale(m MeterReading, levelDBFS float64) (analysis.Estimate, error) {
	v, err := m.Volts()
	if err != nil {
		return analysis.Estimate{}, fmt.Errorf("finding the output's full scale: %w", err)
	}
	return analysis.Estimate{
		Value: analysis.DBu(v.Value) - levelDBFS,
		Std:   analysis.DBFromRelative(v.Std / v.Value),
	}, nil
}
