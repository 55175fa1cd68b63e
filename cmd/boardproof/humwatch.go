package main

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
)

type watchFlags struct {
	benchFlags
	outputs string
	seconds float64
}

func (a *app) humWatchCommand() *cobra.Command {
	var f watchFlags
	cmd := &cobra.Command{
		Use:   "watch",
		Short: "Show the hum live while cables are moved, with the best and the worst so far",
		Long: "Show hum and buzz of each output four times a second, other tones and hiss once a second, from\n" +
			"the last two seconds each time, with the lowest (best) and highest (worst) of each since the start.\n" +
			"Nothing is played. On a terminal Enter begins best and worst anew; Ctrl-C ends.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.humWatch(cmd.Context(), f) },
	}
	f.add(cmd)
	cmd.Flags().StringVar(&f.outputs, "outputs", "", "which channel holds which output, as in A=1,B=2 (default: as the bench says)")
	cmd.Flags().Float64Var(&f.seconds, "seconds", 0, "end after so many seconds (default: at Ctrl-C)")
	return cmd
}

func (a *app) humWatch(ctx context.Context, f watchFlags) error {
	if f.seconds < 0 || math.IsNaN(f.seconds) {
		return wrongUsef("--seconds %g is no length of time", f.seconds)
	}
	return a.readStore(ctx, func(s *db.Store) error {
		b, err := chooseBench(ctx, s, f.benchFlags)
		if err != nil {
			return err
		}
		in, closeDevice, err := a.openInstrument(b, f.benchFlags)
		if err != nil {
			return err
		}
		defer closeDevice() //nolint:errcheck // nothing of it is kept
		profile, err := latestProfile(ctx, s, b.Name)
		if err != nil {
			return err
		}
		sit := &procedure.Sitting{Instrument: in, Output: b.Output, MainsHz: float64(b.MainsHz), Profile: profile, Person: a.talk(), Now: a.now}
		if sit.Patching, err = watchedOutputs(b, f.outputs); err != nil {
			return err
		}
		if err := sit.CheckProfile(ctx); err != nil {
			return wrongUse(err)
		}
		err = sit.WatchBoard(ctx, f.seconds)
		// Ctrl-C is how watching ends.
		if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
			return nil
		}
		return err
	})
}

// watchedOutputs are those named, or all that the bench has an input for.
func watchedOutputs(b db.Bench, named string) ([]calibration.Patching, error) {
	if named != "" {
		return parseOutputs(named)
	}
	var all []calibration.Patching
	for _, o := range slices.Sorted(maps.Keys(b.Inputs)) {
		all = append(all, calibration.Patching{Output: o, Input: b.Inputs[o]})
	}
	if len(all) == 0 {
		return nil, wrongUsef("bench %q has no inputs: 'boardproof bench set %q --inputs A=CHANNEL,...'", b.Name, b.Name)
	}
	return all, nil
}
