package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
	"boardproof/testsignals"
)

// The scenario of the demo, invented.
var demoBoard = db.Board{
	Label: "Lantern Ferry", Owner: "the Harbour Lights trio", Serial: "LF-0007", Outputs: []string{"A", "B"},
	Chain: []db.Device{
		{Name: "moss fuzz", Kind: "fuzz", SupplyV: 9, SupplyMA: 4, Plug: "2.1 mm, centre negative"},
		{Name: "tide boost", Kind: "boost", SupplyV: 9, SupplyMA: 8, Plug: "2.1 mm, centre negative"},
		{Name: "front buffer", Kind: "buffer", SupplyV: 9, SupplyMA: 12, Plug: "2.1 mm, centre negative"},
		{Name: "slate compressor", Kind: "compressor", SupplyV: 9, SupplyMA: 15, Plug: "2.1 mm, centre negative"},
		{Name: "gull chorus", Kind: "chorus", SupplyV: 12, SupplyMA: 60, Plug: "2.1 mm, centre negative"},
		{Name: "two-way split", Kind: "split, transformer on B"},
	},
	Notes: "two amplifiers; B through the isolating transformer",
}

const demoBench = "demo bench"

func (a *app) demoCommand() *cobra.Command {
	var fault string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run the main job on simulated boards, a good one and a faulty one",
		Long: "Set up and calibrate a simulated bench, register a board, accept a good one and a faulty\n" +
			"one. With --json the profile, the board and each run\n" +
			"come as one JSON document a line.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if names := simboard.ReadyNames()[1:]; !slices.Contains(names, fault) {
				return wrongUsef("--fault %q is not one of %s", fault, strings.Join(names, ", "))
			}
			return a.demo(cmd.Context(), fault)
		},
	}
	cmd.Flags().StringVar(&fault, "fault", "flipped-split", "which faulty board to show: "+strings.Join(simboard.ReadyNames()[1:], ", "))
	return cmd
}

// demo fails unless the good board passes and the faulty one does not.
func (a *app) demo(ctx context.Context, fault string) error {
	if a.storePath == "" {
		dir, err := os.MkdirTemp("", "boardproof-demo-")
		if err != nil {
			return err
		}
		a.storePath = filepath.Join(dir, "demo.db")
	}
	a.yes = true
	return a.withWorkshop(ctx, db.Open, func(w *workshop.Workshop) error {
		start := time.Now()
		if err := a.demoSetUp(ctx, w); err != nil {
			return err
		}
		signals := 0.0
		for _, board := range []struct {
			simulate string
			passes   bool
		}{{"good", true}, {fault, false}} {
			seconds, err := a.demoAccept(ctx, w, board.simulate, board.passes)
			if err != nil {
				return err
			}
			signals += seconds
		}
		a.remark("\nthe demo took %.1f s; played at a real bench, the signals of both runs last %.1f s\n", time.Since(start).Seconds(), signals)
		a.remark("store: %s\n", w.Store.Path())
		return nil
	})
}

func (a *app) demoSetUp(ctx context.Context, w *workshop.Workshop) error {
	a.remark("=== a simulated bench is set up and calibrated\n")
	b := db.Bench{Name: demoBench, Kind: workshop.Simulated, Device: "simulated bench", RateHz: 48000, Output: 1, Inputs: map[string]int{"A": 1, "B": 2}}
	if err := w.SetBench(ctx, b); err != nil {
		return err
	}
	r := workshop.CalibrateRequest{Meter: calibration.MeterReading{PercentOfReading: 0.5, DigitsOff: 2, ResolutionV: 0.0001}, LevelDBFS: -12,
		Days: 365, Operator: "demo", ToneHz: 185, Linearity: true, Crosstalk: true, Swap: true,
		OutputOhms: 75, Resistor: calibration.SeriesResistor{Ohms: 10e3, Percent: 1}}
	r.Bench = demoBench
	if err := a.calibrate(ctx, w, r); err != nil {
		return err
	}
	a.remark("\n=== a board is registered\n")
	err := a.addBoard(ctx, w, demoBoard)
	if errors.Is(err, db.ErrDuplicate) {
		a.remark("board %s is registered already\n", demoBoard.Label)
		return nil
	}
	return err
}

// demoAccept accepts the board once and returns how long its signals last.
func (a *app) demoAccept(ctx context.Context, w *workshop.Workshop, simulate string, passes bool) (seconds float64, err error) {
	a.remark("\n=== acceptance of the simulated board %q\n", simulate)
	f := acceptFlags{}
	f.Board, f.Operator, f.Notes = demoBoard.Label, "demo", "simulated board: "+simulate
	f.Bench, f.Simulate = demoBench, simulate
	run, err := a.accept(ctx, w, f)
	if err != nil {
		return 0, err
	}
	for _, t := range run.Takes {
		seconds += float64(testsignals.LayoutOf(t.Take.Signal).Frames) / float64(t.Take.RateHz)
	}
	if got := outcome(run.Readings) == nil; got != passes {
		return 0, fmt.Errorf("the demo's board %q came out as %s", simulate, run.Verdict)
	}
	return seconds, nil
}
