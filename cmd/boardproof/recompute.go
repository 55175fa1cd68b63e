package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) recomputeCommand() *cobra.Command {
	var always, all bool
	cmd := &cobra.Command{
		Use:   "recompute RUN | recompute BOARD",
		Short: "Read old runs again from their recordings with today's methods",
		Long: "Read the recordings of a run again, with the plan and the profile of then and the methods of\n" +
			"today, and show what comes out otherwise. Where something does, it is kept as a new run that\n" +
			"names the old one; the old one stays as it is. With a board: each of its runs that was\n" +
			"measured, oldest first.",
		Args: exactArgs("a run's name or a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				return a.recompute(cmd.Context(), w, args[0], always, all)
			})
		},
	}
	cmd.Flags().BoolVar(&always, "always", false, "keep a new run also where nothing comes out otherwise")
	cmd.Flags().BoolVar(&all, "all", false, "print also the readings that come out the same")
	return cmd
}

func (a *app) recompute(ctx context.Context, w *workshop.Workshop, name string, always, all bool) error {
	runs, err := w.RunsToRecompute(ctx, name)
	if err != nil {
		return err
	}
	docs := []workshop.Recomputed{}
	var failed error
	for _, run := range runs {
		doc, err := w.Recompute(ctx, run, always)
		if err != nil {
			err = fmt.Errorf("computing run %s again: %w", run.ID, err)
			if len(runs) == 1 || ctx.Err() != nil {
				if doc.Readings != nil {
					// What came out is shown where only the keeping of it failed.
					a.voice().meanwhile(func() { a.printRecomputed(doc, all) })
				}
				return err
			}
			doc.Failed, failed = err.Error(), &limitFailed{exitUnmeasured}
		}
		docs = append(docs, doc)
		a.voice().meanwhile(func() { a.printRecomputed(doc, all) })
	}
	return errors.Join(a.show(docs, func() error { return nil }), failed)
}
