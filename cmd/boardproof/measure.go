package main

import (
	"context"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
	"boardproof/testsignals"
)

// measureFlags are common to the measurements: at a bench, or of a file that
// was recorded elsewhere.
type measureFlags struct {
	workshop.MeasureRequest
	file    workshop.FileRequest
	outputs string
	all     bool
}

func (a *app) measureCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "measure",
		Short: "Take one measurement, at the bench or from a recording made elsewhere",
		Long: "Take one measurement without a plan. At the bench it plays and records; with\n" +
			"--recorded it reads a WAV file that was recorded elsewhere while a file written by\n" +
			"'boardproof signal' was played.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		a.measurement(workshop.OfResponse, "response, phase, corners, flatness and harmonics of each output", testsignals.Sweep),
		a.measurement(workshop.OfSplit, "how each further output matches the first: level, delay, polarity", testsignals.Sweep),
		a.measurement(workshop.OfSilence, "noise, hiss, hum and other tones of each output", testsignals.Silence),
		a.measurement(workshop.OfTone, "level, gain, distortion and level match at one frequency", testsignals.Tone))
	return cmd
}

func (a *app) measurement(name, short string, kind testsignals.Kind) *cobra.Command {
	var f measureFlags
	cmd := &cobra.Command{
		Use:   name,
		Short: short,
		Args:  noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f.Of, f.file.Of = name, name
			got, err := a.measure(cmd.Context(), f)
			if err != nil {
				return err
			}
			return a.printMeasured(got, f.all)
		},
	}
	addUse(cmd, &f.Use)
	fl := cmd.Flags()
	fl.StringVar(&f.file.Recorded, "recorded", "", "read this WAV file instead of recording")
	fl.StringVar(&f.file.Played, "played", "", "the file that was played while it was recorded")
	if kind == testsignals.Sweep {
		fl.StringVar(&f.file.Impulses, "impulses", "", "with --recorded: a recording of impulses in the same state, as second opinion")
		fl.StringVar(&f.file.ImpulsesPlayed, "impulses-played", "", "the impulses that were played")
	}
	fl.StringVar(&f.outputs, "outputs", "A=1,B=2", "which channel holds which output, the reference first")
	fl.StringVar(&f.file.InputFullScale.Said, "input-full-scale", "", "with --recorded: level at which the recorder reads full scale, as in 12dBu")
	fl.Float64Var(&f.LevelDBu, "level-dbu", -10, "at the bench: level at the board's input in dBu")
	fl.StringVar(&f.State, "state", "", "which devices are engaged, for the record")
	fl.BoolVar(&f.all, "all", false, "print every row of long lists")
	return cmd
}

func (a *app) measure(ctx context.Context, f measureFlags) (got *workshop.Measured, err error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	if f.Patch, err = parseOutputs(f.outputs); err != nil {
		return nil, err
	}
	if f.file.Recorded != "" {
		return a.measureFile(ctx, f)
	}
	if f.file.Played != "" || f.file.InputFullScale.Said != "" {
		return nil, wrongUsef("--played and --input-full-scale go with --recorded FILE.wav")
	}
	err = a.withWorkshop(ctx, db.OpenReading, func(w *workshop.Workshop) (err error) {
		got, err = w.Measure(ctx, f.MeasureRequest)
		return err
	})
	return got, err
}

func (a *app) measureFile(ctx context.Context, f measureFlags) (*workshop.Measured, error) {
	if f.Repeats > 1 {
		return nil, wrongUsef("--repeats is for the bench: a file is recorded once")
	}
	if f.Bench != "" || f.Simulate != "" {
		return nil, wrongUsef("--bench and --simulate are for measuring at the bench, --recorded is a recording made elsewhere")
	}
	f.file.Patch, f.file.State = f.Patch, f.State
	if err := readFullScale(&f.file.InputFullScale); err != nil {
		return nil, err
	}
	return a.workshop(nil).MeasureFile(ctx, f.file)
}

// readFullScale reads a full scale as it was said.
func readFullScale(f *workshop.FullScale) error {
	if f.Said == "" {
		return nil
	}
	full, err := parseUnit(f.Said, "dBu")
	if err != nil {
		return wrongUsef("--input-full-scale: %w", err)
	}
	f.DBu = &full
	return nil
}

// printMeasured prints the readings and sets the exit code.
func (a *app) printMeasured(m *workshop.Measured, all bool) error {
	doc := report.Document{Simulated: m.Simulated, Notes: m.Notes, Readings: m.Readings, Curves: m.Curves, Refused: m.Refused}
	if m.Profile != "" {
		doc.Profile = m.Profile
	}
	err := a.show(doc, func() error {
		for _, n := range m.Notes {
			a.printf("note: %s\n", n)
		}
		return report.Table(a.out, m.Readings, report.TableOptions{Simulated: m.Simulated, Refused: m.Refused, All: all})
	})
	if err != nil {
		return err
	}
	if !m.OfTheBoard() {
		return &limitFailed{exitUnmeasured}
	}
	return nil
}
