package calibration

import (
	"fmt"
	"math"
	"time"

	"boardproof/analysis"
)

// Method names how profiles are made; it grows when that changes.
const Method = "meter or known source, loopback, terminated /2"

// DefaultValidity is how long a profile is good for when nobody says
// otherwise: common practice, no source.
const DefaultValidity = 365 * 24 * time.Hour

// loopbackStd is the repeatability of plugging a loopback lead, relative:
// common practice, no source.
const loopbackStd = 2e-4

// loopbackDelayStd is what a lead and the input behind it add to a loopback's
// delay and not to a board's, in seconds: 100 Ω into 100 pF is 10 ns, evenly
// spread. Common practice, no source.
const loopbackDelayStd = 10e-9 / 1.7320508075688772

// Sources of uncertainty that come from the calibration, as budgets call them.
const (
	sourceMeter      = "multimeter's accuracy"
	sourceResolution = "multimeter's last digit"
	sourceLoopNoise  = "noise when the bench was calibrated"
	sourceLoopPlug   = "repeatability of the loopback lead"
)

// FullScale is a full scale in dBu and what its uncertainty consists of, in dB.
type FullScale struct {
	DBu    float64
	Budget analysis.Budget
}

// Estimate is f with its standard uncertainty.
func (f FullScale) Estimate() analysis.Estimate {
	return analysis.Estimate{Value: f.DBu, Std: f.Budget.Std()}
}

// NewInput builds what is known of one input from a loopback sweep of output
// straight to it. output is the output's full scale with the lead plugged in,
// which is how it must have been metered.
func NewInput(channel int, loop *analysis.Recording, row int, output FullScale) (Input, error) {
	fail := func(err error) (Input, error) {
		return Input{}, fmt.Errorf("calibrating input %d: %w", channel, err)
	}
	played, err := analysis.NewPlayed(loop.Signal)
	if err != nil {
		return fail(err)
	}
	raw, err := played.Deconvolve(loop.Samples[row], loop.OffsetFrames)
	if err != nil {
		return fail(err)
	}
	g := raw.Response(analysis.Grid(loop.RateHz))
	latency, err := g.Delay()
	if err != nil {
		return fail(err)
	}
	gain := g.AtReference()
	if gain.Value < minLoopbackDB {
		return fail(fmt.Errorf("the loopback is at %.1f dB, there is no signal: plug the output straight into this input", gain.Value))
	}
	full := FullScale{
		DBu: output.DBu - gain.Value,
		Budget: append(append(analysis.Budget{}, output.Budget...),
			analysis.Contribution{Source: sourceLoopNoise, Kind: "B", Std: gain.Std},
			analysis.Contribution{Source: sourceLoopPlug, Kind: "B", Std: analysis.DBFromRelative(loopbackStd)}),
	}
	return Input{
		Channel: channel, Loopback: g.Transfer(latency.Value), LatencyS: latency,
		PlugRelStd: loopbackStd, LeadDelayStdS: loopbackDelayStd,
		FullScaleDBu: full.Estimate(), FullScaleBudget: full.Budget,
	}, nil
}

// Loading returns what the inputs take off the output's level in a loopback,
// in dB: a board, whose input is of high impedance, does not. Without the two
// impedances, in ohms, from the interface's manual, it is taken as 0 within
// 0.1 dB either way; with them the correction is uncertain by a fifth. Both
// common practice, no source.
func Loading(outputOhms, inputsOhms float64) analysis.Estimate {
	if outputOhms <= 0 || inputsOhms <= 0 {
		return analysis.Estimate{Value: 0, Std: 0.1 / math.Sqrt(3)}
	}
	db := analysis.DB(inputsOhms / (inputsOhms + outputOhms))
	return analysis.Estimate{Value: db, Std: 0.2 * math.Abs(db) / math.Sqrt(3)}
}

// minLoopbackDB is the lowest gain that a loopback lead can have.
const minLoopbackDB = -60.0

// Check reports what makes p unusable for a bench whose instrument is now at
// rateHz, at time now: errors for what no reading can be had with, and a
// reason, "" if none, for which absolute readings must be refused.
func (p *Profile) Check(device string, rateHz int, now time.Time) (absoluteRefused string, err error) {
	if p.Instrument.RateHz != rateHz {
		return "", fmt.Errorf("profile %s was made at %d Hz, the bench is at %d Hz: calibrate at this rate or choose the other",
			p.ID, p.Instrument.RateHz, rateHz)
	}
	if p.foreign(device) {
		return fmt.Sprintf("profile %s is of %q, not of %q: calibrate this bench", p.ID, p.Instrument.Device, device), nil
	}
	if now.After(p.ValidUntil) {
		return fmt.Sprintf("profile %s expired on %s: calibrate the bench again", p.ID, p.ValidUntil.Local().Format("2006-01-02")), nil
	}
	return "", nil
}

// foreign says whether p is of another device: nothing of it holds there.
func (p *Profile) foreign(device string) bool { return p.Instrument.Device != device }

// Known returns what the estimators need to know of input channel, or an
// error when the profile does not cover it.
func (p *Profile) Known(channel int) (analysis.BenchInput, error) {
	for i := range p.Inputs {
		in := &p.Inputs[i]
		if in.Channel != channel {
			continue
		}
		return analysis.BenchInput{
			VoltsPerUnit:  VoltsPerUnit(in.FullScaleDBu.Value),
			VoltsBudget:   in.FullScaleBudget,
			Loopback:      &in.Loopback,
			LatencyS:      in.LatencyS,
			PlugRelStd:    in.PlugRelStd,
			LeadDelayStdS: in.LeadDelayStdS,
			Floor:         &in.Floor,
			THDPercent:    &in.THDPercent,
			LoadingDB:     p.LoadingDB,
		}, nil
	}
	return analysis.BenchInput{}, fmt.Errorf("profile %s does not cover input %d: calibrate the bench with it", p.ID, channel)
}

// VoltsPerUnit returns the peak voltage at which a sample reads 1.0 for a
// full scale in dBu.
func VoltsPerUnit(fullScaleDBu float64) float64 {
	return math.Sqrt2 * analysis.VoltsFromDBu(fullScaleDBu)
}

// LevelDBFS returns the level to play so that levelDBu stands at the output.
func (p *Profile) LevelDBFS(levelDBu float64) float64 { return levelDBu - p.OutputFullScaleDBu.Value }

// AddDistortion puts the bench's own distortion into inputs, read from a tone
// through the loopback lead.
func AddDistortion(inputs []Input, tone *analysis.Recording) error {
	res, err := analysis.ToneResult(tone)
	if err != nil {
		return fmt.Errorf("calibrating distortion: %w", err)
	}
	for i := range inputs {
		found := false
		for _, r := range res.Readings {
			if r.Quantity == analysis.THD && r.Output == tone.Outputs[i] {
				inputs[i].THDPercent = analysis.Estimate{Value: r.Value, Std: r.Uncertainty / r.K}
				found = true
			}
		}
		if !found {
			return fmt.Errorf("calibrating distortion: input %d has no tone", inputs[i].Channel)
		}
	}
	return nil
}

// silenceAnyMains analyses a silence so that hum is at least bounded: where no
// comb is found the bounds are those around 50 Hz, which are no other around
// 60 Hz in the same hiss.
func silenceAnyMains(x []float64, rateHz float64) (*analysis.Silence, error) {
	s, err := analysis.AnalyseSilence(x, rateHz, analysis.SilenceOptions{})
	if err != nil || s.Reason != "" || s.Mains.Found {
		return s, err
	}
	return analysis.AnalyseSilence(x, rateHz, analysis.SilenceOptions{NominalMainsHz: 50})
}

// AddFloors puts the bench's own noise and hum into inputs, read from a
// silence with the inputs terminated.
func AddFloors(inputs []Input, quiet *analysis.Recording) error {
	for i := range inputs {
		volts := VoltsPerUnit(inputs[i].FullScaleDBu.Value)
		x := make([]float64, len(quiet.Samples[i]))
		for j, v := range quiet.Samples[i] {
			x[j] = v * volts
		}
		s, err := silenceAnyMains(x, quiet.RateHz)
		if err != nil {
			return fmt.Errorf("calibrating the floor of input %d: %w", inputs[i].Channel, err)
		}
		if s.Reason != "" {
			return fmt.Errorf("calibrating the floor of input %d: %s", inputs[i].Channel, s.Reason)
		}
		inputs[i].Floor = analysis.FloorOf(s)
		for _, c := range analysis.SilenceResult(s, "", "", analysis.BenchInput{}).Curves {
			if c.Quantity == analysis.NoiseDensity {
				inputs[i].NoiseDensity = c
			}
		}
	}
	return nil
}
