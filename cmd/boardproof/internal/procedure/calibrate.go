package procedure

import (
	"context"
	"fmt"
	"time"

	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/testsignals"
)

// CalibrationPlan is what the operator chose and noted for a calibration.
type CalibrationPlan struct {
	Bench    string
	Operator string
	Controls string
	// ToneHz and LevelDBFS are of the tone that the meter reads.
	ToneHz    float64
	LevelDBFS float64
	// ReadMeter asks for the meter's reading while or after the tone plays.
	ReadMeter func() (calibration.MeterReading, error)
	// OutputOhms and InputsOhms are from the interface's manual, 0 if not known.
	OutputOhms, InputsOhms float64
	Validity               time.Duration
}

// meterToneS is how long the metered tone plays: long enough to read a meter.
const meterToneS = 8.0

// Cautions that go with a calibration.
const (
	calibrationCaution = "amplifiers and loudspeakers unplugged from the interface; phantom power off; " +
		"never connect a loudspeaker output to an input"
	loopbackPrompt = "connect the output to every input with a short lead (a splitting lead for several inputs), no board between; " +
		"put the multimeter, on AC volts, across the same lead; set the gain controls and do not touch them again"
	terminatedPrompt = "unplug the loopback lead and put a shorting plug, or a plug with a resistor of 1 kΩ or less, into each input"
)

// Calibrate walks through a calibration and returns the profile, not yet
// kept. s.Profile is not used.
func (s *Sitting) Calibrate(ctx context.Context, plan CalibrationPlan) (*calibration.Profile, error) {
	if err := s.Operator.Ready(loopbackPrompt, calibrationCaution); err != nil {
		return nil, err
	}
	output, meter, err := s.meterOutput(ctx, plan)
	if err != nil {
		return nil, err
	}
	now := s.Now().UTC()
	d := s.Instrument.Describe()
	p := &calibration.Profile{
		Bench: plan.Bench, Instrument: d, Created: now, ValidUntil: now.Add(plan.Validity),
		Operator: plan.Operator, Controls: plan.Controls, Meter: meter, Simulated: d.Simulated, Method: calibration.Method,
		Output: s.Output, OutputFullScaleDBu: output.Estimate(), LoadingDB: calibration.Loading(plan.OutputOhms, plan.InputsOhms),
	}
	if err := s.loopback(ctx, plan, p, output); err != nil {
		return nil, err
	}
	if err := s.floors(ctx, p); err != nil {
		return nil, err
	}
	return p, nil
}

// meterOutput plays the metered tone and asks for what the meter showed.
func (s *Sitting) meterOutput(ctx context.Context, plan CalibrationPlan) (calibration.FullScale, string, error) {
	if plan.ToneHz > calibration.MaxMeterHz {
		s.Operator.Say(fmt.Sprintf("caution: many multimeters are only good below %d Hz; a tone of %g Hz needs a true RMS meter that its manual vouches for there",
			calibration.MaxMeterHz, plan.ToneHz))
	}
	s.Operator.Say(fmt.Sprintf("a tone of %g Hz at %.1f dBFS plays for %.0f s: read the multimeter", plan.ToneHz, plan.LevelDBFS, meterToneS))
	spec := testsignals.New(testsignals.Tone, s.Instrument.Describe().RateHz, plan.LevelDBFS, meterToneS)
	spec.FrequencyHz = plan.ToneHz
	if _, err := s.Take(ctx, "tone for the multimeter", spec, capture.Loopback, ""); err != nil {
		return calibration.FullScale{}, "", err
	}
	m, err := plan.ReadMeter()
	if err != nil {
		return calibration.FullScale{}, "", err
	}
	full, err := calibration.OutputFullScale(m, plan.LevelDBFS)
	return full, m.Name, err
}

// loopback reads response, latency, full scale and distortion of each input.
func (s *Sitting) loopback(ctx context.Context, plan CalibrationPlan, p *calibration.Profile, output calibration.FullScale) error {
	rate := s.Instrument.Describe().RateHz
	sweep, err := s.Take(ctx, "sweep through the loopback lead", testsignals.New(testsignals.Sweep, rate, plan.LevelDBFS, 0), capture.Loopback, "")
	if err != nil {
		return err
	}
	rec, err := s.Recording(sweep)
	if err != nil {
		return err
	}
	for row, c := range s.Patching {
		in, err := calibration.NewInput(c.Input, rec, row, output)
		if err != nil {
			return err
		}
		p.Inputs = append(p.Inputs, in)
	}
	tone, err := s.Take(ctx, "tone through the loopback lead", testsignals.New(testsignals.Tone, rate, plan.LevelDBFS, 0), capture.Loopback, "")
	if err != nil {
		return err
	}
	if rec, err = s.Recording(tone); err != nil {
		return err
	}
	return calibration.AddDistortion(p.Inputs, rec)
}

// floors reads the bench's own noise and hum with the inputs terminated.
func (s *Sitting) floors(ctx context.Context, p *calibration.Profile) error {
	if err := s.Operator.Ready(terminatedPrompt, ""); err != nil {
		return err
	}
	spec := testsignals.New(testsignals.Silence, s.Instrument.Describe().RateHz, minPlayDBFS, 0)
	quiet, err := s.Take(ctx, "silence with the inputs terminated", spec, capture.Terminated, "")
	if err != nil {
		return err
	}
	rec, err := s.Recording(quiet)
	if err != nil {
		return err
	}
	return calibration.AddFloors(p.Inputs, rec)
}
