package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) verifyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Hold everything in the store against the digest that was kept with it",
		Long: "Look through the whole store: the database file itself, every profile, plan, event, hunt and\n" +
			"run, and every take's file. Each thing that is damaged, changed or gone is named. It ends with\n" +
			"0 where all is as it was kept, 1 where something is not.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				found, err := w.Verify(cmd.Context())
				if err != nil {
					return err
				}
				err = a.show(found, func() error {
					a.printVerified(found)
					return nil
				})
				if err != nil {
					return err
				}
				return notWhole(len(found.Damage))
			})
		},
	}
}

func (a *app) printVerified(v db.Verified) {
	for _, d := range v.Damage {
		line := d.What
		if d.Name != "" {
			line += " " + d.Name
		}
		if d.Of != "" {
			line += ", of " + d.Of
		}
		a.wrapped("DAMAGED: ", line+": "+d.How)
	}
	a.wrapped("", fmt.Sprintf("looked through %s, %s, %s of plans, %s, %s and %s (%s)",
		report.Count(v.Runs, "run"), report.Count(v.Profiles, "profile"), report.Count(v.Plans, "version"), report.Count(v.Events, "event"),
		report.Count(v.Hunts, "hunt"), report.Count(v.Takes, "take"), inBytes(v.Bytes)))
	a.printf("%s\n", damageWords(len(v.Damage)))
	if v.Tidied > 0 {
		a.printf("tidied away on purpose: %s\n", report.Count(v.Tidied, "take"))
	}
	if v.Undigested > 0 {
		a.wrapped("", fmt.Sprintf("kept before digests were, so that nobody can tell whether they were changed: %d", v.Undigested))
	}
}

func damageWords(n int) string {
	switch n {
	case 0:
		return "all is as it was kept"
	case 1:
		return "1 thing is damaged"
	}
	return fmt.Sprintf("%d things are damaged", n)
}
