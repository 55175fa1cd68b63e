package main

import (
	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) boardLife() *cobra.Command {
	return &cobra.Command{
		Use:   "life BOARD",
		Short: "Show all that happened to a board, on one page",
		Args:  exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenReading, args[0], func(w *workshop.Workshop, b db.Board) error {
				l, err := w.Life(cmd.Context(), b)
				if err != nil {
					return err
				}
				return a.show(l, func() error {
					a.printLife(l)
					return nil
				})
			})
		},
	}
}

func (a *app) printLife(l workshop.Life) {
	a.printHead(l.Board)
	a.printChain(l.Board)
	a.printf("\n")
	for _, m := range l.Timeline {
		text := m.Text
		if m.Simulated {
			text = "SIMULATED " + text
		}
		if m.Corrected != "" {
			text += "; to be read instead: " + m.Corrected
		}
		a.wrapped(local(m.At)+"  "+report.Fitted(m.ID, 14)+"  ", text)
	}
	if n := len(l.Visits); n > 0 {
		a.printf("\n")
		for i, v := range l.Visits {
			line := visitWords(v)
			if v.Delivered != "" {
				line += ", delivered with " + v.Delivered
			}
			a.printf("visit %d: %s\n", i+1, line)
		}
	}
}
