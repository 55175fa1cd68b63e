package calibration

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

// KnownSource is a calibrator, or a generator of known level, at the inputs:
// full scales come from it where no multimeter is at hand.
type KnownSource struct {
	Name string `json:"name,omitempty"`
	// VoltsRMS is its level as it stands at the inputs, with them connected.
	VoltsRMS float64 `json:"volts_rms"`
	// Percent is its accuracy, ± percent of VoltsRMS.
	Percent     float64 `json:"percent"`
	FrequencyHz float64 `json:"frequency_hz"`
}

const (
	sourceKnown      = "known source's accuracy"
	sourceKnownNoise = "noise recorded beside the known source"
	// sourceWithin is how far a generator's frequency may be off what it says,
	// relative: common practice, no source.
	sourceWithin = 0.02
	// maxSourceNoise is the relative standard uncertainty above which there is
	// no source to be seen.
	maxSourceNoise = 0.01
)

// Check reports what is wrong with k at a sample rate.
func (k KnownSource) Check(rateHz int) error {
	switch {
	case !(k.VoltsRMS > 0) || math.IsInf(k.VoltsRMS, 0):
		return fmt.Errorf("known source of %g V must be above zero", k.VoltsRMS)
	case !(k.Percent >= 0 && k.Percent < 100):
		return fmt.Errorf("known source's accuracy of %g %% must be 0 to below 100 %%", k.Percent)
	case !(k.FrequencyHz >= 20 && k.FrequencyHz <= 0.4*float64(rateHz)):
		return fmt.Errorf("known source of %g Hz must be between 20 Hz and %g Hz", k.FrequencyHz, 0.4*float64(rateHz))
	}
	return nil
}

// InputFullScale returns the full scale of the input that row of rec recorded
// while k was connected to it and nothing played. The stated accuracy is taken
// as a rectangular distribution (JCGM 100:2008, 4.3.7).
func (k KnownSource) InputFullScale(rec *analysis.Recording, row int) (FullScale, error) {
	fail := func(err error) (FullScale, error) {
		return FullScale{}, fmt.Errorf("reading the known source: %w", err)
	}
	x, err := body(rec, row)
	if err != nil {
		return fail(err)
	}
	near, err := strongestNear(x, rec.RateHz, k.FrequencyHz, sourceWithin)
	if err != nil {
		return fail(err)
	}
	fit, err := analysis.FitTone([][]float64{x}, rec.RateHz, near, 1)
	if err != nil {
		return fail(err)
	}
	amplitude, std := fit.Channels[0].Amplitude[0], fit.Channels[0].Std[0]
	if amplitude <= 0 || std/amplitude > maxSourceNoise {
		return fail(fmt.Errorf("there is no steady tone near %g Hz at this input: connect the source", k.FrequencyHz))
	}
	return FullScale{
		DBu: analysis.DBu(k.VoltsRMS) - analysis.DB(amplitude),
		Budget: analysis.Budget{
			{Source: sourceKnown, Kind: "B", Std: analysis.DBFromRelative(k.Percent / 100 / math.Sqrt(3)), Rectangular: true},
			{Source: sourceKnownNoise, Kind: "B", Std: analysis.DBFromRelative(std / amplitude)},
		},
	}, nil
}

// TakeFullScale gives in the full scale that a known source showed and returns
// what the output's is by the loopback. in must come from NewInput with a
// FullScale of zero.
func (in *Input) TakeFullScale(full FullScale) (output FullScale) {
	gain := -in.FullScaleDBu.Value
	output = FullScale{DBu: full.DBu + gain, Budget: append(append(analysis.Budget{}, full.Budget...), in.FullScaleBudget...)}
	in.FullScaleDBu, in.FullScaleBudget = full.Estimate(), full.Budget
	return output
}
