package main

import (
	"context"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type huntFlags struct {
	workshop.HuntRequest
	recorded       []string
	outputs, plots string
	fullScale      workshop.FullScale
}

func (a *app) humHuntCommand() *cobra.Command {
	var f huntFlags
	cmd := &cobra.Command{
		Use:   "hunt BOARD",
		Short: "Find what a board hums from: one condition after another, each measured",
		Long: "Record the board in silence as it was found, then under one condition after another, and\n" +
			"say after each what it changed and what that means. It proposes the condition that would\n" +
			"tell most; you take it, choose another, or name one of your own. --condition gives them\n" +
			"beforehand, in order; --yes follows the proposals until the cause is clear.\n\n" +
			"Conditions: " + strings.Join(procedure.KnownChanges()[:3], ", ") + ",\n" +
			strings.Join(procedure.KnownChanges()[3:7], ", ") + ",\n" +
			strings.Join(procedure.KnownChanges()[7:], ", ") + ",\n" +
			"\"as found\", or words of your own. As in\n" +
			"  --condition \"output unplugged=B\" --condition \"lights off\" --condition \"phone away\"\n" +
			"Recordings made elsewhere, in which nothing was played, each with its condition:\n" +
			"  --recorded \"as found:a.wav\" --recorded \"output unplugged=B:b.wav\"\n\n" +
			"The protective earth is never lifted.",
		Args: exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f.Board = args[0]
			return a.humHunt(cmd.Context(), f)
		},
	}
	addBenchUse(cmd, &f.BenchUse)
	fl := cmd.Flags()
	addBoardIn(cmd, &f.Use)
	fl.BoolVar(&f.NoCheck, "no-check", false, "do not check the bench against its profile before use; the hunt says so")
	fl.IntVar(&f.Repeats, "repeats", 1, "record each condition so often, later rounds in random order, against drift")
	fl.StringVar(&f.Name, "name", "", "what to call the hunt")
	fl.StringArrayVar(&f.Conditions, "condition", nil, "try this condition; repeat in order, then the hunt ends")
	fl.StringArrayVar(&f.recorded, "recorded", nil, "read CONDITION:FILE.wav instead of recording; repeat for each")
	fl.StringVar(&f.outputs, "outputs", "A=1,B=2", "with --recorded: which channel holds which output")
	fl.StringVar(&f.fullScale.Said, "input-full-scale", "", "with --recorded: level at which the recorder reads full scale, as in 12dBu")
	fl.BoolVar(&f.Devices, "devices", false, "search for the one device of the chain that hums, halving it each time")
	fl.StringVar(&f.By, "by", "supply", "with --devices: take devices out by their supply, or by a bypass lead")
	fl.StringSliceVar(&f.Without, "without", nil, "what is not at hand: isolator, battery, laptop-battery, lights")
	fl.IntVar(&f.AtMost, "at-most", 0, "record at most so many silences (default: 9 with --yes)")
	fl.Float64Var(&f.Seconds, "seconds", 8, "length of each silence")
	fl.StringVar(&f.Operator, "operator", os.Getenv("USER"), "who measures")
	fl.StringVar(&f.Notes, "notes", "", "anything worth keeping with the hunt")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (a *app) humHunt(ctx context.Context, f huntFlags) error {
	if f.plots != "" {
		f.Ready = func() error { return makePlotsDir(f.plots) }
	}
	return a.withWorkshop(ctx, db.OpenExisting, func(w *workshop.Workshop) error {
		h, err := a.hunt(ctx, w, f)
		if err != nil {
			return err
		}
		return a.presentHunt(w.Store, *h, f.plots, false)
	})
}

// hunt hunts at a bench, or through recordings made elsewhere.
func (a *app) hunt(ctx context.Context, w *workshop.Workshop, f huntFlags) (*db.Hunt, error) {
	if len(f.recorded) == 0 {
		if f.fullScale.Said != "" {
			return nil, wrongUsef("--input-full-scale goes with --recorded CONDITION:FILE.wav")
		}
		return w.Hunt(ctx, f.HuntRequest)
	}
	if err := f.Check(); err != nil {
		return nil, err
	}
	if f.Devices {
		return nil, wrongUsef("--devices makes its own conditions: leave --condition and --recorded out")
	}
	if f.Bench != "" || f.Simulate != "" || len(f.Conditions) > 0 {
		return nil, wrongUsef("--bench, --simulate and --condition are for hunting at the bench, --recorded is made elsewhere")
	}
	patch, err := parseOutputs(f.outputs)
	if err != nil {
		return nil, err
	}
	if err := readFullScale(&f.fullScale); err != nil {
		return nil, err
	}
	return w.HuntRecorded(ctx, workshop.RecordedHuntRequest{Board: f.Board, Name: f.Name, Operator: f.Operator, Notes: f.Notes, Without: f.Without,
		Recorded: f.recorded, Patch: patch, InputFullScale: f.fullScale, Ready: f.Ready})
}
