package main

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) importCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "import FILE",
		Short: "Take in a board's life that 'export' wrote, here or in another workshop",
		Long: "Take in an archive. All of it is held against its digests first; then it is kept whole or\n" +
			"not at all. A board that is here already gets the runs and events that it has not. What was\n" +
			"changed of the board itself (owner, chain and so on) is taken over where it was changed there\n" +
			"alone, and stays where it was changed here; each difference is said. Any other board is\n" +
			"registered, under another label where its own is taken. A run whose name is taken gets\n" +
			"another and keeps its digest.",
		Args: exactArgs("an archive"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := openFile(args[0])
			if err != nil {
				return err
			}
			defer f.Close()
			return a.withWorkshop(cmd.Context(), db.Open, func(w *workshop.Workshop) error {
				done, err := w.Import(cmd.Context(), f)
				if err != nil {
					return fmt.Errorf("importing %s: %w", args[0], err)
				}
				return a.show(done, func() error { return a.printImported(cmd.Context(), w, done) })
			})
		},
	}
}

// sayDifferences says what of a board that was here already is otherwise in the
// archive, and which of both it is now.
func (a *app) sayDifferences(done db.Imported) {
	kept := false
	for _, d := range done.Differences {
		if d.TakenOver {
			a.wrapped("taken over: ", fmt.Sprintf("%s: %s (%s)", d.Field, d.What, d.Why))
			continue
		}
		kept = true
		a.wrapped("KEPT as it was here: ", fmt.Sprintf("%s: %s (%s)", d.Field, d.What, d.Why))
	}
	if kept {
		a.wrapped("", fmt.Sprintf("where the archive is right, say so: 'boardproof board edit %q'", done.Board.Label))
	}
}

func (a *app) printImported(ctx context.Context, w *workshop.Workshop, done db.Imported) error {
	a.wrapped("", fmt.Sprintf("board %s: %s taken in, %d here already; %s, %s of its plan",
		done.Board.Label, report.Count(len(done.Runs), "run"), done.Had, report.Count(done.Takes, "take"), report.Count(done.Plans, "version")))
	for _, what := range slices.Sorted(maps.Keys(done.Parts)) {
		a.printf("%s taken in\n", report.Count(done.Parts[what], what))
	}
	if done.New && done.Board.Label != done.Label {
		a.wrapped("", fmt.Sprintf("another board here is called %s: this one is registered as %s", done.Label, done.Board.Label))
	}
	for _, from := range slices.Sorted(maps.Keys(done.Renamed)) {
		a.printf("%s is %s here, as its own name is taken\n", from, done.Renamed[from])
	}
	if done.NewestPlan > 0 {
		a.printf("the board is held against version %d of its plan from now on, which came with the archive\n", done.NewestPlan)
	}
	a.sayDifferences(done)
	a.sayMissing(done.Missing)
	if len(done.Runs) == 0 {
		return nil
	}
	a.printf("\n")
	return a.showBoard(ctx, w, done.Board)
}
