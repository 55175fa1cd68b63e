package main

import (
	"context"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) backupCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "backup --out FILE",
		Short: "Copy the whole store, also while it is in use",
		Long: "Copy the database to FILE and its takes to the folder FILE.takes beside it. The copy is of one\n" +
			"moment, whatever is being kept meanwhile, and each take is held against its digest on the\n" +
			"way. Nothing is written over. It ends with 1 where a take is damaged or gone; all the rest\n" +
			"is copied.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if out == "" {
				return wrongUsef("name the file to back up to: --out FILE")
			}
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error { return a.backup(cmd.Context(), w, out) })
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "the database to write; its takes go to a folder beside it")
	return cmd
}

func (a *app) backup(ctx context.Context, w *workshop.Workshop, out string) error {
	done, err := w.Backup(ctx, out)
	if err != nil {
		return err
	}
	err = a.show(done, func() error {
		a.printCopied("backed up", done)
		return nil
	})
	if err != nil {
		return err
	}
	return notWhole(len(done.Damaged) + len(done.Missing))
}

func (a *app) printCopied(doing string, done db.BackedUp) {
	a.printf("%s to %s: %s, %s, %s\n", doing, done.Path, report.Count(done.Runs, "run"), report.Count(done.Takes, "take"), inBytes(done.Bytes))
	for _, sha := range done.Damaged {
		a.printf("damaged, not copied: take %s\n", sha)
	}
	for _, sha := range done.Missing {
		a.printf("not there to copy: take %s\n", sha)
	}
}

// notWhole ends a command that found n things damaged.
func notWhole(n int) error {
	if n > 0 {
		return &limitFailed{exitFailed}
	}
	return nil
}

func (a *app) restoreCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "restore FILE --store NEW",
		Short: "Make a store of a backup, and verify it",
		Long: "Copy a backup to a new store, named with --store, and verify all of it. Nothing is written\n" +
			"over. It ends with 1 where something in the backup is damaged; all the rest is restored.",
		Args: exactArgs("a backup"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if a.storePath == "" {
				return wrongUsef("name the store to make: --store NEW")
			}
			done, found, err := a.workshop(nil).Restore(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			err = a.show(map[string]any{"restored": done, "verified": found}, func() error {
				a.printCopied("restored", done)
				a.printVerified(found)
				return nil
			})
			if err != nil {
				return err
			}
			return notWhole(len(found.Damage))
		},
	}
}
