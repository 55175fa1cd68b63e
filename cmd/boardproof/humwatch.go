package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) humWatchCommand() *cobra.Command {
	var r workshop.WatchRequest
	var outputs string
	cmd := &cobra.Command{
		Use:   "watch",
		Short: "Show the hum live while cables are moved, with the best and the worst so far",
		Long: "Show hum and buzz of each output four times a second, other tones and hiss once a second, from\n" +
			"the last two seconds each time, with the lowest (best) and highest (worst) of each since the start.\n" +
			"Nothing is played. On a terminal Enter begins best and worst anew; Ctrl-C ends.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.humWatch(cmd.Context(), r, outputs) },
	}
	addBenchUse(cmd, &r.BenchUse)
	cmd.Flags().StringVar(&outputs, "outputs", "", "which channel holds which output, as in A=1,B=2 (default: as the bench says)")
	cmd.Flags().Float64Var(&r.Seconds, "seconds", 0, "end after so many seconds (default: at Ctrl-C)")
	return cmd
}

func (a *app) humWatch(ctx context.Context, r workshop.WatchRequest, outputs string) (err error) {
	if outputs != "" {
		if r.Patch, err = parseOutputs(outputs); err != nil {
			return err
		}
	}
	return a.withWorkshop(ctx, db.OpenReading, func(w *workshop.Workshop) error {
		err := w.Watch(ctx, r)
		// Ctrl-C is how watching ends.
		if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
			return nil
		}
		return err
	})
}
