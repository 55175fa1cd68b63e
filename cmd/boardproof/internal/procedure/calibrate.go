package procedure

import (
	"context"
	"errors"
	"fmt"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
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
	// Meter is what the multimeter read; its VoltsRMS is 0 where that is asked for
	// after the tone.
	Meter calibration.MeterReading
	// SimulatedMeter, where not nil, reads it instead of a person.
	SimulatedMeter func() (voltsRMS float64)
	// OutputOhms and InputsOhms are from the interface's manual, 0 if not known.
	OutputOhms, InputsOhms float64
	Validity               time.Duration
	// TemperatureC is of the room, nil if not known.
	TemperatureC *float64
	// Source, where not nil, gives the full scales and no meter is read.
	Source *calibration.KnownSource
	// Steps beyond the first; the resistor's is left out at 0 Ω.
	Linearity, Swap, Crosstalk bool
	Resistor                   calibration.SeriesResistor
	// LeadStays: the inputs cannot be terminated, and the bench's own noise is
	// read with the loopback lead in.
	LeadStays bool
}

// meterToneS is how long the metered tone plays: long enough to read a meter.
const meterToneS = 8.0

// Cautions that go with a calibration.
const (
	calibrationCaution = "amplifiers and loudspeakers unplugged from the interface; phantom power off; " +
		"never connect a loudspeaker output to an input"
	loopbackPrompt   = "connect the output to every input with a short lead (a splitting lead for several inputs), no board between; "
	meterPrompt      = "put the multimeter, on AC volts, across the same lead; "
	controlsPrompt   = "set the gain controls and do not touch them again"
	terminatedPrompt = "unplug the loopback lead and put a shorting plug, or a plug with a resistor of 1 kΩ or less, into each input"
)

// Calibrate walks through a calibration and returns the profile, not yet
// kept. s.Profile is not used.
func (s *Sitting) Calibrate(ctx context.Context, plan CalibrationPlan) (*calibration.Profile, error) {
	prompt := loopbackPrompt + meterPrompt + controlsPrompt
	if plan.Source != nil {
		prompt = loopbackPrompt + controlsPrompt
	}
	if err := s.ready(ctx, prompt, calibrationCaution); err != nil {
		return nil, err
	}
	now := s.Now().UTC()
	d := s.Instrument.Describe()
	p := &calibration.Profile{
		Bench: plan.Bench, Instrument: d, Created: now, ValidUntil: now.Add(plan.Validity),
		Operator: plan.Operator, Controls: plan.Controls, TemperatureC: plan.TemperatureC, Simulated: d.Simulated, Method: calibration.Method,
		Output: s.Output, OutputOhms: plan.OutputOhms, LoadingDB: calibration.Loading(plan.OutputOhms, plan.InputsOhms),
	}
	if s.log != nil {
		s.log.first = func(ctx context.Context) error { return s.checkPart(ctx, p) }
	}
	if err := s.calibrateAll(ctx, plan, p); err != nil {
		return nil, err
	}
	return p, s.Finish(ctx)
}

// checkPart holds the bench against the part of its profile that was made
// before the calibration was left.
func (s *Sitting) checkPart(ctx context.Context, p *calibration.Profile) error {
	if len(p.Inputs) < len(s.Patching) {
		return nil
	}
	one := *s
	one.Profile = p
	_, err := one.CheckBench(ctx)
	return err
}

// calibrateAll fills p, one patching after the other.
func (s *Sitting) calibrateAll(ctx context.Context, plan CalibrationPlan, p *calibration.Profile) error {
	var output calibration.FullScale
	var err error
	if plan.Source == nil {
		if output, err = s.meterOutput(ctx, plan, p); err != nil {
			return err
		}
	}
	sweep, err := s.loopback(ctx, plan, p, output)
	if err != nil {
		return err
	}
	if plan.Swap {
		if err := s.swapInputs(ctx, plan, p, sweep); err != nil {
			return err
		}
	}
	if plan.Source != nil {
		if err := s.knownSource(ctx, plan, p); err != nil {
			return err
		}
	}
	if err := s.oneByOne(ctx, plan, p); err != nil {
		return err
	}
	return s.floors(ctx, plan, p)
}

// meterOutput plays the metered tone and asks for what the meter showed.
func (s *Sitting) meterOutput(ctx context.Context, plan CalibrationPlan, p *calibration.Profile) (calibration.FullScale, error) {
	if plan.ToneHz > calibration.MaxMeterHz {
		s.Person.Tell(ctx, talk.Remark{Severity: talk.Caution, Text: fmt.Sprintf("many multimeters are only good below %d Hz; a tone of %g Hz needs a true RMS meter that its manual vouches for there",
			calibration.MaxMeterHz, plan.ToneHz)})
	}
	s.Person.Tell(ctx, talk.Remarkf("a tone of %g Hz at %.1f dBFS plays for %.0f s: read the multimeter", plan.ToneHz, plan.LevelDBFS, meterToneS))
	spec := testsignals.New(testsignals.Tone, s.Instrument.Describe().RateHz, plan.LevelDBFS, meterToneS)
	spec.FrequencyHz = plan.ToneHz
	if _, err := s.Take(ctx, "tone for the multimeter", spec, capture.Loopback, ""); err != nil {
		return calibration.FullScale{}, err
	}
	m, err := answered(ctx, s, "what the multimeter showed", func() (calibration.MeterReading, error) { return s.readMeter(ctx, plan) })
	if err != nil {
		return calibration.FullScale{}, err
	}
	m.FrequencyHz, m.LevelDBFS = plan.ToneHz, plan.LevelDBFS
	full, err := calibration.OutputFullScale(m, plan.LevelDBFS)
	p.Meter, p.MeterReading = m.Name, &m
	p.OutputFullScaleDBu, p.OutputFullScaleBudget = full.Estimate(), full.Budget
	return full, err
}

// readMeter gives what the multimeter read, and asks for it where nobody told.
func (s *Sitting) readMeter(ctx context.Context, plan CalibrationPlan) (calibration.MeterReading, error) {
	m := plan.Meter
	if m.VoltsRMS != 0 {
		return m, nil
	}
	if plan.SimulatedMeter != nil {
		m.Name, m.VoltsRMS = "simulated meter", plan.SimulatedMeter()
		s.Person.Tell(ctx, talk.MeterRead{VoltsRMS: m.VoltsRMS})
		return m, nil
	}
	a, err := s.Person.Ask(ctx, talk.Question{
		Kind: talk.Number, Unit: "V", Prompt: "the multimeter reads", How: "volts RMS, or with mV", Flag: "meter-volts",
		Check: func(a talk.Answer) error {
			m.VoltsRMS = a.Number
			_, err := calibration.OutputFullScale(m, plan.LevelDBFS)
			return err
		},
	})
	if errors.Is(err, talk.ErrNobody) {
		return m, ErrNoMeter
	}
	m.VoltsRMS = a.Number
	return m, err
}

// ErrNoMeter is that nobody is there to read the multimeter.
var ErrNoMeter = errors.New("--yes needs the multimeter's reading: --meter-volts V")

// loopback reads response, latency, full scale, distortion and linearity of
// each input, and returns the sweep.
func (s *Sitting) loopback(ctx context.Context, plan CalibrationPlan, p *calibration.Profile, output calibration.FullScale) (*analysis.Recording, error) {
	rate := s.Instrument.Describe().RateHz
	sweep, err := s.Take(ctx, "sweep through the loopback lead", testsignals.New(testsignals.Sweep, rate, plan.LevelDBFS, 0), capture.Loopback, "")
	if err != nil {
		return nil, err
	}
	swept, err := s.Recording(sweep)
	if err != nil {
		return nil, err
	}
	for row, c := range s.Patching {
		in, err := calibration.NewInput(c.Input, swept, row, output)
		if err != nil {
			return nil, err
		}
		p.Inputs = append(p.Inputs, in)
	}
	tone, err := s.Take(ctx, "tone through the loopback lead", testsignals.New(testsignals.Tone, rate, plan.LevelDBFS, 0), capture.Loopback, "")
	if err != nil {
		return nil, err
	}
	rec, err := s.Recording(tone)
	if err != nil {
		return nil, err
	}
	if err := calibration.AddDistortion(p.Inputs, rec); err != nil {
		return nil, err
	}
	if plan.Linearity {
		err = s.linearity(ctx, p)
	}
	return swept, err
}
