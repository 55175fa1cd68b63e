package calibration

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

// MeterReading is what a multimeter showed while a tone played.
type MeterReading struct {
	Name string `json:"name,omitempty"`
	// VoltsRMS is the reading.
	VoltsRMS float64 `json:"volts_rms"`
	// PercentOfReading and DigitsOff are the meter's accuracy at the tone's
	// frequency, as its manual gives it: ± (% of reading + digits).
	PercentOfReading float64 `json:"percent_of_reading"`
	DigitsOff        float64 `json:"digits_off"`
	// ResolutionV is the voltage of one digit.
	ResolutionV float64 `json:"resolution_v"`
	// TrueRMS is kept for the record: a meter that averages and is marked in
	// RMS of a sine reads this tone, whose harmonics are far below 0.1 %, as
	// well.
	TrueRMS bool `json:"true_rms"`
	// FrequencyHz and LevelDBFS are of the tone, where they are known.
	FrequencyHz float64 `json:"frequency_hz,omitempty"`
	LevelDBFS   float64 `json:"level_dbfs,omitempty"`
}

// MaxMeterHz is the highest tone that a cheap meter can be trusted with:
// common practice, no source.
const MaxMeterHz = 400

// Full scales that an output of an audio interface may have, its control
// anywhere: outside them a reading in millivolts was taken for volts, or the
// meter was not on the lead. Common practice, no source.
const (
	minOutputFullScaleDBu = -40.0
	maxOutputFullScaleDBu = 40.0
)

// OutputFullScale returns the full scale of an output from the level that a
// meter read of a tone of levelDBFS. The manual's limits are taken as a
// rectangular distribution, and half a digit of rounding likewise (JCGM
// 100:2008, 4.3.7 and F.2.2.1). A reading that no interface gives is an error.
func OutputFullScale(m MeterReading, levelDBFS float64) (FullScale, error) {
	if err := m.check(); err != nil {
		return FullScale{}, fmt.Errorf("finding the output's full scale: %w", err)
	}
	full := analysis.DBu(m.VoltsRMS) - levelDBFS
	if full < minOutputFullScaleDBu || full > maxOutputFullScaleDBu {
		return FullScale{}, fmt.Errorf("meter reading %g V would make the output's full scale %.0f dBu, which no interface has: read the meter again, in volts AC, across the lead",
			m.VoltsRMS, full)
	}
	limit := m.PercentOfReading/100*m.VoltsRMS + m.DigitsOff*m.ResolutionV
	db := func(volts float64) float64 { return analysis.DBFromRelative(volts / math.Sqrt(3) / m.VoltsRMS) }
	return FullScale{
		DBu: full,
		Budget: analysis.Budget{
			{Source: sourceMeter, Kind: "B", Std: db(limit), Rectangular: true},
			{Source: sourceResolution, Kind: "B", Std: db(m.ResolutionV / 2), Rectangular: true},
		},
	}, nil
}

func (m MeterReading) check() error {
	if !(m.VoltsRMS > 0) || math.IsInf(m.VoltsRMS, 0) {
		return fmt.Errorf("meter reading %g V must be above zero", m.VoltsRMS)
	}
	if !(m.PercentOfReading >= 0 && m.DigitsOff >= 0 && m.ResolutionV >= 0) {
		return fmt.Errorf("meter accuracy ±(%g %% + %g digits of %g V) must not be negative",
			m.PercentOfReading, m.DigitsOff, m.ResolutionV)
	}
	return nil
}
