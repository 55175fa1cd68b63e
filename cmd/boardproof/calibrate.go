package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) calibrateCommand() *cobra.Command {
	var r workshop.CalibrateRequest
	var level string
	var temperature float64
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
			var err error
			if r.LevelDBFS, err = parseUnit(level, "dBFS"); err != nil {
				return wrongUsef("--level: %w", err)
			}
			if cmd.Flags().Changed("temperature") {
				r.TemperatureC = &temperature
			}
			return a.withWorkshop(cmd.Context(), db.OpenExisting, func(w *workshop.Workshop) error { return a.calibrate(cmd.Context(), w, r) })
		},
	}
	addBenchUse(cmd, &r.BenchUse)
	addAgain(cmd, &r.Again)
	fl := cmd.Flags()
	fl.Float64Var(&r.Meter.VoltsRMS, "meter-volts", 0, "what the multimeter read of the tone, in volts RMS (asked for otherwise)")
	fl.StringVar(&r.Meter.Name, "meter", "", "which multimeter")
	fl.Float64Var(&r.Meter.PercentOfReading, "meter-percent", 1, "the meter's accuracy at the tone's frequency, % of reading")
	fl.Float64Var(&r.Meter.DigitsOff, "meter-digits", 3, "and digits")
	fl.Float64Var(&r.Meter.ResolutionV, "meter-resolution", 0.001, "the voltage of one digit")
	fl.StringVar(&level, "level", "-12dBFS", "level of the tone and the loopback sweep")
	fl.Float64Var(&r.ToneHz, "tone", 185, "frequency of the metered tone in hertz, off the mains harmonics")
	fl.IntVar(&r.Days, "valid-days", int(calibration.DefaultValidity/(24*time.Hour)), "for how many days the profile is good")
	fl.StringVar(&r.Operator, "operator", os.Getenv("USER"), "who calibrates")
	fl.StringVar(&r.Controls, "controls", "", "where the gain controls stand, in your words")
	fl.Float64Var(&r.OutputOhms, "output-ohms", 0, "the output's impedance from the interface's manual")
	fl.Float64Var(&r.InputsOhms, "inputs-ohms", 0, "the impedance of all looped inputs together, from the manual")
	fl.BoolVar(&r.Meter.TrueRMS, "meter-true-rms", false, "the meter reads true RMS (one that averages reads a sine as well)")
	fl.Float64Var(&temperature, "temperature", 0, "of the room in °C, for the record")
	fl.Float64Var(&r.Source.VoltsRMS, "source-volts", 0, "instead of a meter: level of a known source at the inputs, in volts RMS")
	fl.Float64Var(&r.Source.Percent, "source-percent", 1, "the known source's accuracy, %")
	fl.Float64Var(&r.Source.FrequencyHz, "source-hz", 1000, "the known source's frequency in hertz")
	fl.StringVar(&r.Source.Name, "source", "", "which known source")
	fl.BoolVar(&r.Linearity, "linearity", true, "tones from -6 to -66 dBFS through the loopback lead")
	fl.BoolVar(&r.Swap, "swap", false, "exchange the first two inputs' plugs and compare the inputs")
	fl.BoolVar(&r.Crosstalk, "crosstalk", false, "a signal into one input at a time, the others terminated")
	fl.BoolVar(&r.LeadStays, "lead-stays", false, "the inputs cannot be terminated: read the bench's own noise with the loopback lead in")
	fl.Float64Var(&r.Resistor.Ohms, "series-ohms", 0, "a known resistor for the lead, to find each input's impedance; 10000 suits most")
	fl.Float64Var(&r.Resistor.Percent, "series-percent", 1, "the resistor's tolerance, %")
	return cmd
}

func (a *app) calibrate(ctx context.Context, w *workshop.Workshop, r workshop.CalibrateRequest) error {
	r.How = func(bench string) string {
		return fmt.Sprintf("'boardproof calibrate --bench %q' with the same flags", bench)
	}
	b, p, err := w.Calibrate(ctx, r)
	if err != nil {
		return err
	}
	return a.show(p, func() error {
		a.printBench(workshop.BenchState{Bench: b, Profile: p})
		return nil
	})
}
