package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/cmplx"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
	"boardproof/testsignals"
)

// calibrateFlags are what calibrate may be told instead of being asked.
type calibrateFlags struct {
	benchFlags
	againFlags
	meter      calibration.MeterReading
	level      string
	days       int
	operator   string
	controls   string
	toneHz     float64
	outputOhms float64
	inputsOhms float64

	temperature float64
	// knowsTemperature is set where temperature was given.
	knowsTemperature bool
	source           calibration.KnownSource
	resistor         calibration.SeriesResistor
	linearity        bool
	crosstalk        bool
	swap             bool
	leadStays        bool
}

func (a *app) calibrateCommand() *cobra.Command {
	var f calibrateFlags
	cmd := &cobra.Command{
		Use:   "calibrate",
		Short: "Find the bench's full scales, its own response, latency, noise and hum",
		Long: "Walk through the calibration of a bench: a multimeter reads a tone, a loopback lead\n" +
			"shows the bench's own response, distortion and linearity, terminated inputs its own\n" +
			"noise and hum. With --source-volts a source of known level at the inputs takes the\n" +
			"multimeter's place. --swap, --crosstalk and --series-ohms add steps that need more\n" +
			"plugging. The result is a profile, kept for good; readings name the profile they\n" +
			"were made with.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f.knowsTemperature = cmd.Flags().Changed("temperature")
			return a.withStore(cmd.Context(), func(s *db.Store) error { return a.calibrate(cmd.Context(), s, f) })
		},
	}
	f.benchFlags.add(cmd)
	f.againFlags.add(cmd)
	fl := cmd.Flags()
	fl.Float64Var(&f.meter.VoltsRMS, "meter-volts", 0, "what the multimeter read of the tone, in volts RMS (asked for otherwise)")
	fl.StringVar(&f.meter.Name, "meter", "", "which multimeter")
	fl.Float64Var(&f.meter.PercentOfReading, "meter-percent", 1, "the meter's accuracy at the tone's frequency, % of reading")
	fl.Float64Var(&f.meter.DigitsOff, "meter-digits", 3, "and digits")
	fl.Float64Var(&f.meter.ResolutionV, "meter-resolution", 0.001, "the voltage of one digit")
	fl.StringVar(&f.level, "level", "-12dBFS", "level of the tone and the loopback sweep")
	fl.Float64Var(&f.toneHz, "tone", 185, "frequency of the metered tone in hertz, off the mains harmonics")
	fl.IntVar(&f.days, "valid-days", int(calibration.DefaultValidity/(24*time.Hour)), "for how many days the profile is good")
	fl.StringVar(&f.operator, "operator", os.Getenv("USER"), "who calibrates")
	fl.StringVar(&f.controls, "controls", "", "where the gain controls stand, in your words")
	fl.Float64Var(&f.outputOhms, "output-ohms", 0, "the output's impedance from the interface's manual")
	fl.Float64Var(&f.inputsOhms, "inputs-ohms", 0, "the impedance of all looped inputs together, from the manual")
	fl.BoolVar(&f.meter.TrueRMS, "meter-true-rms", false, "the meter reads true RMS (one that averages reads a sine as well)")
	fl.Float64Var(&f.temperature, "temperature", 0, "of the room in °C, for the record")
	fl.Float64Var(&f.source.VoltsRMS, "source-volts", 0, "instead of a meter: level of a known source at the inputs, in volts RMS")
	fl.Float64Var(&f.source.Percent, "source-percent", 1, "the known source's accuracy, %")
	fl.Float64Var(&f.source.FrequencyHz, "source-hz", 1000, "the known source's frequency in hertz")
	fl.StringVar(&f.source.Name, "source", "", "which known source")
	fl.BoolVar(&f.linearity, "linearity", true, "tones from -6 to -66 dBFS through the loopback lead")
	fl.BoolVar(&f.swap, "swap", false, "exchange the first two inputs' plugs and compare the inputs")
	fl.BoolVar(&f.crosstalk, "crosstalk", false, "a signal into one input at a time, the others terminated")
	fl.BoolVar(&f.leadStays, "lead-stays", false, "the inputs cannot be terminated: read the bench's own noise with the loopback lead in")
	fl.Float64Var(&f.resistor.Ohms, "series-ohms", 0, "a known resistor for the lead, to find each input's impedance; 10000 suits most")
	fl.Float64Var(&f.resistor.Percent, "series-percent", 1, "the resistor's tolerance, %")
	return cmd
}

func (a *app) calibrate(ctx context.Context, s *db.Store, f calibrateFlags) error {
	b, err := chooseBench(ctx, s, f.benchFlags)
	if err != nil {
		return err
	}
	level, err := parseUnit(f.level, "dBFS")
	if err != nil {
		return wrongUsef("--level: %w", err)
	}
	if err := f.check(b.RateHz, level); err != nil {
		return wrongUse(err)
	}
	if f.swap && len(b.Inputs) < 2 {
		return wrongUsef("--swap needs two inputs, bench %q has one", b.Name)
	}
	in, closeDevice, err := a.openInstrument(b, f.benchFlags)
	if err != nil {
		return err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := a.sitting(ctx, b, in, sortedOutputs(b.Inputs), nil)
	if err != nil {
		return err
	}
	plan := procedure.CalibrationPlan{
		Bench: b.Name, Operator: f.operator, Controls: f.controls, ToneHz: f.toneHz, LevelDBFS: level,
		OutputOhms: f.outputOhms, InputsOhms: f.inputsOhms, Validity: time.Duration(f.days) * 24 * time.Hour,
		Meter:     f.meter,
		Linearity: f.linearity, Swap: f.swap, Crosstalk: f.crosstalk, Resistor: f.resistor, LeadStays: f.leadStays,
	}
	if sim, ok := in.(*simboard.Simboard); ok {
		plan.SimulatedMeter = func() float64 { return simulatedMeter(sim, level, f.toneHz, f.meter.ResolutionV) }
	}
	if f.source.VoltsRMS != 0 {
		plan.Source = &f.source
	}
	if f.knowsTemperature {
		plan.TemperatureC = &f.temperature
	}
	again := fmt.Sprintf("'boardproof calibrate --bench %q' with the same flags", b.Name)
	book, err := a.openBook(ctx, s, db.Sitting{Kind: db.Calibration, Bench: b.Name}, f.meets(b, level), setup{}, f.againFlags, again)
	if err != nil {
		return err
	}
	sit.Keep(book, book.past)
	p, err := sit.Calibrate(ctx, plan)
	if err != nil {
		return book.left(ctx, err)
	}
	kept, err := s.SaveProfile(ctx, *p, book.closes()...)
	if err != nil {
		return book.left(ctx, fmt.Errorf("the profile was NOT KEPT: %w", err))
	}
	book.forget(ctx)
	return a.printBenchProfile(ctx, s, b, kept)
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

func (f calibrateFlags) meets(b db.Bench, levelDBFS float64) calibrationMeets {
	return calibrationMeets{b, levelDBFS, f.toneHz, f.meter, f.source, f.resistor, f.outputOhms, f.inputsOhms,
		f.linearity, f.crosstalk, f.swap, f.simulate, f.knobs}
}

// check finds what is wrong with the flags before anything is played.
func (f calibrateFlags) check(rateHz int, levelDBFS float64) error {
	if f.days < 1 || f.days > 3650 {
		return fmt.Errorf("--valid-days %d is not 1 to 3650", f.days)
	}
	tone := testsignals.New(testsignals.Tone, rateHz, levelDBFS, 0)
	tone.FrequencyHz = f.toneHz
	if err := tone.Validate(); err != nil {
		return fmt.Errorf("--tone and --level: %w", err)
	}
	if err := f.checkOptions(rateHz); err != nil {
		return err
	}
	m := f.meter
	if m.VoltsRMS == 0 {
		// Not read yet: only its accuracy can be looked at.
		m.VoltsRMS = analysis.VoltsFromDBu(levelDBFS)
	}
	_, err := calibration.OutputFullScale(m, levelDBFS)
	return err
}

// checkOptions is check for what can be left out.
func (f calibrateFlags) checkOptions(rateHz int) error {
	measured := f.resistor.Ohms > 0 && f.inputsOhms == 0
	if !(f.outputOhms >= 0 && f.inputsOhms >= 0) || (f.outputOhms > 0) != (f.inputsOhms > 0) && !measured {
		return fmt.Errorf("--output-ohms %g and --inputs-ohms %g: give both, above zero, or neither; --series-ohms measures the inputs'",
			f.outputOhms, f.inputsOhms)
	}
	if r := f.resistor; !(r.Ohms == 0 || r.Ohms >= 10 && r.Ohms <= 1e7) || !(r.Percent >= 0 && r.Percent <= 20) {
		return fmt.Errorf("--series-ohms %g and --series-percent %g: a resistor is 10 Ω to 10 MΩ, within 0 to 20 %%", r.Ohms, r.Percent)
	}
	if f.knowsTemperature && !(f.temperature >= -20 && f.temperature <= 60) {
		return fmt.Errorf("--temperature %g is not -20 to 60 °C", f.temperature)
	}
	if f.source.VoltsRMS == 0 {
		return nil
	}
	if f.meter.VoltsRMS != 0 {
		return errors.New("--source-volts and --meter-volts: the full scales come from one of them")
	}
	return f.source.Check(rateHz)
}

func (a *app) printBenchProfile(ctx context.Context, s *db.Store, b db.Bench, p calibration.Profile) error {
	if a.json {
		return a.printJSON(p)
	}
	return a.printBench(ctx, s, b)
}

func sortedOutputs(inputs map[string]int) []string {
	names := slices.Collect(maps.Keys(inputs))
	// By channel, so that the reference is the first input.
	slices.SortFunc(names, func(x, y string) int { return inputs[x] - inputs[y] })
	return names
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
