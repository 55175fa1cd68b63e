package main

import (
	"context"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
	"boardproof/testsignals"
)

// measureFlags are common to the measurements: at a bench, or of a file that
// was recorded elsewhere.
type measureFlags struct {
	useFlags
	recorded, played string
	// impulses is a recording of impulses in the same state, a second opinion.
	impulses, impulsesPlayed string
	outputs                  string
	inputFullScale           string
	levelDBu                 float64
	state                    string
	all                      bool
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
		a.measurement("response", "response, phase, corners, flatness and harmonics of each output", testsignals.Sweep),
		a.measurement("split", "how each further output matches the first: level, delay, polarity", testsignals.Sweep),
		a.measurement("silence", "noise, hiss, hum and other tones of each output", testsignals.Silence),
		a.measurement("tone", "level, gain, distortion and level match at one frequency", testsignals.Tone))
	return cmd
}

func (a *app) measurement(name, short string, kind testsignals.Kind) *cobra.Command {
	var f measureFlags
	cmd := &cobra.Command{
		Use:   name,
		Short: short,
		Args:  noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			doc, err := a.measure(cmd.Context(), name, kind, f)
			if err != nil {
				return err
			}
			return a.printMeasured(doc, f)
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.recorded, "recorded", "", "read this WAV file instead of recording")
	fl.StringVar(&f.played, "played", "", "the file that was played while it was recorded")
	if kind == testsignals.Sweep {
		fl.StringVar(&f.impulses, "impulses", "", "with --recorded: a recording of impulses in the same state, as second opinion")
		fl.StringVar(&f.impulsesPlayed, "impulses-played", "", "the impulses that were played")
	}
	fl.StringVar(&f.outputs, "outputs", "A=1,B=2", "which channel holds which output, the reference first")
	fl.StringVar(&f.inputFullScale, "input-full-scale", "", "with --recorded: level at which the recorder reads full scale, as in 12dBu")
	fl.Float64Var(&f.levelDBu, "level-dbu", -10, "at the bench: level at the board's input in dBu")
	fl.StringVar(&f.state, "state", "", "which devices are engaged, for the record")
	fl.BoolVar(&f.all, "all", false, "print every row of long lists")
	return cmd
}

func (a *app) measure(ctx context.Context, name string, kind testsignals.Kind, f measureFlags) (*report.Document, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	patch, err := parseOutputs(f.outputs)
	if err != nil {
		return nil, err
	}
	if name == "split" && len(patch) < 2 {
		return nil, wrongUsef("a split has at least two outputs: --outputs A=1,B=2")
	}
	if f.recorded != "" && f.repeats > 1 {
		return nil, wrongUsef("--repeats is for the bench: a file is recorded once")
	}
	if f.recorded != "" {
		return a.measureFile(ctx, name, kind, f, patch)
	}
	if f.played != "" || f.inputFullScale != "" {
		return nil, wrongUsef("--played and --input-full-scale go with --recorded FILE.wav")
	}
	return a.measureBench(ctx, name, kind, f, patch)
}

// measureBench plays and records at a bench.
func (a *app) measureBench(ctx context.Context, name string, kind testsignals.Kind, f measureFlags, patch []calibration.Patching) (doc *report.Document, err error) {
	err = a.readStore(ctx, func(s *db.Store) error {
		b, err := chooseBench(ctx, s, f.benchFlags)
		if err != nil {
			return err
		}
		in, closeDevice, err := a.openInstrument(b, f.benchFlags)
		if err != nil {
			return err
		}
		defer closeDevice() //nolint:errcheck // the take is in by then
		profile, err := latestProfile(ctx, s, b.Name)
		if err != nil {
			return err
		}
		sit := &procedure.Sitting{Instrument: in, Output: b.Output, MainsHz: float64(b.MainsHz), Patching: patch, Profile: profile, Person: a.talk(), Now: a.now, Repeats: f.repeats, BoardIn: f.boardIn}
		if err := sit.CheckProfile(ctx); err != nil {
			return wrongUse(err)
		}
		check, note, err := a.checkBench(ctx, sit, f.useFlags)
		if err != nil {
			return err
		}
		res, err := sit.Measure(ctx, kind, f.levelDBu, f.state)
		if err != nil {
			return err
		}
		res.Readings = append(check.Readings, res.Readings...)
		doc = newDocument(name, res, in.Describe().Simulated)
		if like := sit.LikeLead(); like != "" {
			doc.Notes = append(doc.Notes, like)
		}
		if note != "" && profile != nil {
			doc.Notes = append(doc.Notes, note)
		}
		if profile != nil {
			doc.Profile = profile.ID
		} else {
			doc.Notes = append(doc.Notes, noProfileNote)
		}
		return nil
	})
	return doc, err
}

const noProfileNote = "the bench has no profile: gains are ratios of full scales, absolute levels are refused"

// newDocument keeps of res what the named measurement is for.
func newDocument(name string, res analysis.Result, simulated bool) *report.Document {
	doc := &report.Document{Simulated: simulated}
	keep := wanted(name)
	for _, r := range res.Readings {
		if keep(r.Quantity) {
			doc.Readings = append(doc.Readings, verdict.Judged{Reading: r})
		}
	}
	for _, c := range res.Curves {
		if keep(c.Quantity) {
			doc.Curves = append(doc.Curves, c)
		}
	}
	for _, r := range res.Refused {
		if keep(r.Quantity) {
			doc.Refused = append(doc.Refused, r)
		}
	}
	return doc
}

// wanted says which quantities a measurement prints: response and split both
// come of a sweep.
func wanted(name string) func(quantity string) bool {
	isMatch := func(q string) bool {
		switch q {
		case analysis.LevelMatch, analysis.WorstLevelMatch, analysis.DelayMatch, analysis.PolarityMatch, analysis.SplitDifference:
			return true
		}
		return false
	}
	switch name {
	case "response":
		return func(q string) bool { return !isMatch(q) }
	case "split":
		return func(q string) bool { return isMatch(q) || q == analysis.ClockError || q == analysis.BenchGainDrift }
	}
	return func(string) bool { return true }
}

// printMeasured prints the readings and sets the exit code.
func (a *app) printMeasured(doc *report.Document, f measureFlags) error {
	if a.json {
		if err := report.Write(report.Seen{To: a.out}, *doc); err != nil {
			return err
		}
	} else {
		for _, n := range doc.Notes {
			a.printf("note: %s\n", n)
		}
		err := report.Table(a.out, doc.Readings, report.TableOptions{Simulated: doc.Simulated, Refused: doc.Refused, All: f.all})
		if err != nil {
			return err
		}
	}
	if !ofTheBoard(doc) {
		return &limitFailed{exitUnmeasured}
	}
	return nil
}

// ofTheBoard is false where nothing at all was measured: the recorder's clock
// and the bench's own gain alone are nothing.
func ofTheBoard(doc *report.Document) bool {
	for _, r := range doc.Readings {
		if r.Quantity != analysis.ClockError && r.Quantity != analysis.BenchGainDrift {
			return true
		}
	}
	return len(doc.Curves) > 0
}
