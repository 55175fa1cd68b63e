package workshop

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
	"boardproof/testsignals"
)

// CalibrateRequest asks for a bench to be calibrated.
type CalibrateRequest struct {
	BenchUse
	Again
	// Operator is who calibrates, Controls where the gain controls stand.
	Operator, Controls string
	// Meter is how exact the multimeter is, and what it read where that is known.
	Meter calibration.MeterReading
	// LevelDBFS is that of the tone and of the loopback sweep.
	LevelDBFS float64
	ToneHz    float64
	// Days is for how many days the profile is good.
	Days int
	// OutputOhms and InputsOhms are from the interface's manual, 0 if not known.
	OutputOhms, InputsOhms float64
	// TemperatureC is of the room, nil if not known.
	TemperatureC *float64
	// Source takes the meter's place where its VoltsRMS is not 0.
	Source calibration.KnownSource
	// Resistor is left out at 0 Ω.
	Resistor calibration.SeriesResistor
	// The steps that can be left out.
	Linearity, Crosstalk, Swap bool
	// LeadStays: the inputs cannot be terminated.
	LeadStays bool
}

// Calibrate calibrates a bench and keeps its profile.
func (w *Workshop) Calibrate(ctx context.Context, r CalibrateRequest) (db.Bench, *calibration.Profile, error) {
	b, err := w.ChooseBench(ctx, r.Bench)
	if err != nil {
		return b, nil, err
	}
	if err := r.check(b); err != nil {
		return b, nil, invalid(err)
	}
	in, closeDevice, err := w.open(b, r.Simulation)
	if err != nil {
		return b, nil, err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := w.sitting(ctx, b, in, byChannel(b.Inputs), nil)
	if err != nil {
		return b, nil, err
	}
	book, err := w.openBook(ctx, db.Sitting{Kind: db.Calibration, Bench: b.Name}, r.meets(b), setup{}, r.Again, b.Name)
	if err != nil {
		return b, nil, err
	}
	sit.Keep(book, book.past)
	p, err := sit.Calibrate(ctx, r.plan(b, in))
	if err != nil {
		return b, nil, book.left(ctx, err)
	}
	kept, err := w.Store.SaveProfile(ctx, *p, book.closes()...)
	if err != nil {
		return b, nil, book.left(ctx, fmt.Errorf("the profile was NOT KEPT: %w", err))
	}
	book.forget(ctx)
	return b, &kept, nil
}

func (r CalibrateRequest) plan(b db.Bench, in capture.Instrument) procedure.CalibrationPlan {
	plan := procedure.CalibrationPlan{
		Bench: b.Name, Operator: r.Operator, Controls: r.Controls, ToneHz: r.ToneHz, LevelDBFS: r.LevelDBFS, Meter: r.Meter,
		OutputOhms: r.OutputOhms, InputsOhms: r.InputsOhms, Validity: time.Duration(r.Days) * 24 * time.Hour, TemperatureC: r.TemperatureC,
		Linearity: r.Linearity, Swap: r.Swap, Crosstalk: r.Crosstalk, Resistor: r.Resistor, LeadStays: r.LeadStays,
	}
	if sim, ok := in.(*simboard.Simboard); ok {
		plan.SimulatedMeter = func() float64 { return simulatedMeter(sim, r.LevelDBFS, r.ToneHz, r.Meter.ResolutionV) }
	}
	if r.Source.VoltsRMS != 0 {
		plan.Source = &r.Source
	}
	return plan
}

// calibrationMeets is what must be the same for a calibration to be gone on with.
type calibrationMeets struct {
	Bench      db.Bench                   `json:"bench"`
	LevelDBFS  float64                    `json:"level_dbfs"`
	ToneHz     float64                    `json:"tone_hz"`
	Meter      calibration.MeterReading   `json:"meter"`
	Source     calibration.KnownSource    `json:"source"`
	Resistor   calibration.SeriesResistor `json:"resistor"`
	OutputOhms float64                    `json:"output_ohms"`
	InputsOhms float64                    `json:"inputs_ohms"`
	Linearity  bool                       `json:"linearity"`
	Crosstalk  bool                       `json:"crosstalk"`
	Swap       bool                       `json:"swap"`
	Simulate   string                     `json:"simulate"`
	Knobs      []string                   `json:"knobs"`
}

func (r CalibrateRequest) meets(b db.Bench) calibrationMeets {
	return calibrationMeets{b, r.LevelDBFS, r.ToneHz, r.Meter, r.Source, r.Resistor, r.OutputOhms, r.InputsOhms,
		r.Linearity, r.Crosstalk, r.Swap, r.Simulate, r.Knobs}
}

// check finds what is wrong with the request before anything is played.
func (r CalibrateRequest) check(b db.Bench) error {
	if r.Days < 1 || r.Days > 3650 {
		return fieldf("valid-days", " %d is not 1 to 3650", r.Days)
	}
	tone := testsignals.New(testsignals.Tone, b.RateHz, r.LevelDBFS, 0)
	tone.FrequencyHz = r.ToneHz
	if err := tone.Validate(); err != nil {
		return fieldf("tone", " and --level: %w", err)
	}
	if err := r.checkOptions(b.RateHz); err != nil {
		return err
	}
	m := r.Meter
	if m.VoltsRMS == 0 {
		// Not read yet: only its accuracy can be looked at.
		m.VoltsRMS = analysis.VoltsFromDBu(r.LevelDBFS)
	}
	if _, err := calibration.OutputFullScale(m, r.LevelDBFS); err != nil {
		return err
	}
	if r.Swap && len(b.Inputs) < 2 {
		return fieldf("swap", " needs two inputs, bench %q has one", b.Name)
	}
	return nil
}

// checkOptions is check for what can be left out.
func (r CalibrateRequest) checkOptions(rateHz int) error {
	measured := r.Resistor.Ohms > 0 && r.InputsOhms == 0
	if !(r.OutputOhms >= 0 && r.InputsOhms >= 0) || (r.OutputOhms > 0) != (r.InputsOhms > 0) && !measured {
		return fieldf("output-ohms", " %g and --inputs-ohms %g: give both, above zero, or neither; --series-ohms measures the inputs'",
			r.OutputOhms, r.InputsOhms)
	}
	if s := r.Resistor; !(s.Ohms == 0 || s.Ohms >= 10 && s.Ohms <= 1e7) || !(s.Percent >= 0 && s.Percent <= 20) {
		return fieldf("series-ohms", " %g and --series-percent %g: a resistor is 10 Ω to 10 MΩ, within 0 to 20 %%", s.Ohms, s.Percent)
	}
	if c := r.TemperatureC; c != nil && !(*c >= -20 && *c <= 60) {
		return fieldf("temperature", " %g is not -20 to 60 °C", *c)
	}
	if r.Source.VoltsRMS == 0 {
		return nil
	}
	if r.Meter.VoltsRMS != 0 {
		return fieldf("source-volts", " and --meter-volts: the full scales come from one of them")
	}
	return r.Source.Check(rateHz)
}

// simulatedMeter rounds what stands at the loopback lead to the meter's digit.
func simulatedMeter(sim *simboard.Simboard, levelDBFS, toneHz, resolutionV float64) float64 {
	truth := sim.Truth()
	recorded := cmplx.Abs(truth.SampleResponse(capture.Loopback, 1, toneHz)) * math.Pow(10, levelDBFS/20)
	volts := recorded * analysis.VoltsFromDBu(truth.InputFullScaleDBu(1))
	if resolutionV <= 0 {
		return volts
	}
	return math.Round(volts/resolutionV) * resolutionV
}
