package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) serviceCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "service",
		Short: "Keep what happens to a board: in, complaint, work, parts, out",
		Long: "Keep what happens to a board between coming in and going out. Runs made in between belong\n" +
			"to that visit by themselves. Nothing is ever changed: what is wrong is corrected by another\n" +
			"event that names it (--corrects), or withdrawn.",
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	for _, k := range []struct{ use, short string }{
		{"came-in", "The board came in"},
		{"complaint", "What its player complains of"},
		{"work", "Work that was done"},
		{"parts", "Parts that were put in"},
		{"went-out", "The board went out, with the latest run of the visit or with --run"},
	} {
		cmd.AddCommand(a.serviceAdd(k.use, k.short))
	}
	cmd.AddCommand(a.serviceWithdraw(), a.serviceList())
	return cmd
}

var eventKinds = map[string]db.EventKind{
	"came-in": db.CameIn, "complaint": db.Complaint, "work": db.WorkDone, "parts": db.Parts, "went-out": db.WentOut,
}

func (a *app) serviceAdd(use, short string) *cobra.Command {
	e := db.Event{Kind: eventKinds[use]}
	var date string
	cmd := &cobra.Command{
		Use:   use + " BOARD",
		Short: short,
		Args:  exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenExisting, args[0], func(w *workshop.Workshop, b db.Board) error {
				var err error
				if e.Happened, err = when(w, date, e.Kind); err != nil {
					return err
				}
				kept, err := w.KeepEvent(cmd.Context(), b, e)
				if err != nil {
					return err
				}
				return a.showEvent(b, kept)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&e.Text, "text", "", "in words")
	f.StringVar(&e.Who, "who", "", "who did it, or said it")
	f.StringVar(&date, "date", "", "when, as in 2026-11-25 or \"2026-11-25 14:30\" (default: now; of a correction when the other did)")
	f.StringVar(&e.RunID, "run", "", "a run that belongs to it")
	f.StringVar(&e.Corrects, "corrects", "", "the event that this one is to be read instead of")
	if use == "parts" {
		f.StringArrayVar(&e.Parts, "part", nil, "one part, as in \"2 jacks, 6.3 mm\"; repeat")
	}
	return cmd
}

func (a *app) showEvent(b db.Board, e db.Event) error {
	return a.show(e, func() error {
		a.wrapped("", "board "+b.Label)
		a.printEvent(e, "")
		return nil
	})
}

func (a *app) serviceWithdraw() *cobra.Command {
	var why, who string
	cmd := &cobra.Command{
		Use:   "withdraw EVENT",
		Short: "Say that an event did not happen; it stays, marked",
		Args:  exactArgs("an event's name, as 'boardproof service list' prints it"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenExisting, func(w *workshop.Workshop) error {
				b, e, err := w.Withdraw(cmd.Context(), args[0], why, who)
				if err != nil {
					return err
				}
				return a.showEvent(b, e)
			})
		},
	}
	cmd.Flags().StringVar(&why, "text", "", "why")
	cmd.Flags().StringVar(&who, "who", "", "who withdraws it")
	return cmd
}

func (a *app) serviceList() *cobra.Command {
	return &cobra.Command{
		Use:   "list BOARD",
		Short: "List a board's visits with their events and runs",
		Args:  exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenReading, args[0], func(w *workshop.Workshop, b db.Board) error {
				l, err := w.Life(cmd.Context(), b)
				if err != nil {
					return err
				}
				return a.show(l.Visits, func() error {
					a.printVisits(l)
					return nil
				})
			})
		},
	}
}

func (a *app) printVisits(l workshop.Life) {
	if len(l.Visits) == 0 {
		a.printf("no service yet: 'boardproof service came-in %q'\n", l.Board.Label)
	}
	for i, v := range l.Visits {
		if i > 0 {
			a.printf("\n")
		}
		a.printf("%s\n", visitWords(v))
		for _, e := range v.Events {
			a.printEvent(e, "  ")
		}
		if len(v.Runs) > 0 {
			a.wrapped("  runs: ", strings.Join(v.Runs, ", "))
		}
		if v.Delivered != "" {
			a.printf("  delivered with %s\n", v.Delivered)
		}
	}
}

// visitWords says when a board was here.
func visitWords(v db.Visit) string {
	from, to := "built", "here still"
	if v.CameIn != nil {
		from = "in " + v.CameIn.Local().Format(time.DateOnly)
	}
	if v.WentOut != nil {
		to = "out " + v.WentOut.Local().Format(time.DateOnly)
	}
	return from + ", " + to
}

func (a *app) printEvent(e db.Event, indent string) {
	a.wrapped(fmt.Sprintf("%s%s  %s  ", indent, e.ID, local(e.Happened)), workshop.EventWords(e))
}

// when reads a date, or a date and a time, of here; "" is the zero time, which
// the store takes as now.
func when(w *workshop.Workshop, text string, kind db.EventKind) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if t, err := time.ParseInLocation("2006-01-02 15:04", text, time.Local); err == nil {
		return t, nil
	}
	d, err := day(text)
	if err != nil {
		return time.Time{}, wrongUsef("--date %w", err)
	}
	return w.HappenedOn(d, kind), nil
}

// day is the beginning of a day of here.
func day(text string) (time.Time, error) {
	d, err := time.ParseInLocation(time.DateOnly, text, time.Local)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no date: write it as 2026-11-25", text)
	}
	return d, nil
}
