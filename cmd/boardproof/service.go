package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
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
			return a.onBoard(cmd.Context(), args[0], func(s *db.Store, b db.Board) error {
				e.BoardID = b.ID
				var err error
				if e.Happened, err = a.when(date, e.Kind); err != nil {
					return err
				}
				return a.keepEvent(cmd.Context(), s, b, e)
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

// keepEvent keeps e, whose run and corrected event may be given by the
// beginning of their names, and says what became of it.
func (a *app) keepEvent(ctx context.Context, s *db.Store, b db.Board, e db.Event) error {
	if e.RunID != "" {
		r, err := s.FindRun(ctx, e.RunID)
		if err != nil {
			return fmt.Errorf("--run: %w", err)
		}
		e.RunID = r.ID
	}
	if e.Corrects != "" {
		old, err := s.FindEvent(ctx, e.Corrects)
		if err != nil {
			return fmt.Errorf("--corrects: %w", err)
		}
		e.Corrects = old.ID
	}
	if err := a.askOfDelivery(ctx, s, b, e); err != nil {
		return err
	}
	e, err := s.AddEvent(ctx, e)
	if err != nil {
		return err
	}
	if err := a.warnOfDelivery(ctx, s, b, e); err != nil {
		return err
	}
	if a.json {
		return a.printJSON(e)
	}
	a.wrapped("", "board "+b.Label)
	a.printEvent(e, "")
	return nil
}

// askOfDelivery asks before a board is called delivered with a run that it did
// not pass.
func (a *app) askOfDelivery(ctx context.Context, s *db.Store, b db.Board, e db.Event) error {
	if e.Kind != db.WentOut || e.Withdrawn {
		return nil
	}
	id := e.RunID
	if id == "" {
		var err error
		if id, err = s.LeavesWith(ctx, e); err != nil || id == "" {
			return err
		}
	}
	r, err := s.FindRun(ctx, id)
	if err != nil || r.PlanID == 0 || r.Verdict.Passed() {
		return err
	}
	a.talk().Tell(ctx, talk.Remarkf("run %s, with which board %s goes out, is a %q: %s", r.ID, b.Label, r.Verdict, report.Summary(r.Readings)))
	out, err := a.confirm(ctx, "does it go out all the same?")
	if err == nil && !out {
		err = wrongUsef("not kept: board %s stays here; accept it again, or name another run with --run", b.Label)
	}
	return err
}

// warnOfDelivery says where a board goes out with no run, or with one that is
// no reason to let it go.
func (a *app) warnOfDelivery(ctx context.Context, s *db.Store, b db.Board, e db.Event) error {
	if e.Kind != db.WentOut || e.Withdrawn {
		return nil
	}
	if e.RunID == "" {
		a.warn(ctx, fmt.Sprintf("board %s goes out with no run of this visit: there will be nothing to compare it with", b.Label))
		return nil
	}
	r, err := s.FindRun(ctx, e.RunID)
	if err != nil {
		return err
	}
	if r.PlanID == 0 {
		a.warn(ctx, fmt.Sprintf("run %s, with which it goes out, followed no plan", r.ID))
	} else if !r.Verdict.Passed() {
		a.warn(ctx, fmt.Sprintf("run %s, with which it goes out, is a %q", r.ID, r.Verdict))
	}
	if r.Simulated {
		a.warn(ctx, fmt.Sprintf("run %s, with which it goes out, is SIMULATED", r.ID))
	}
	return nil
}

func (a *app) serviceWithdraw() *cobra.Command {
	var why, who string
	cmd := &cobra.Command{
		Use:   "withdraw EVENT",
		Short: "Say that an event did not happen; it stays, marked",
		Args:  exactArgs("an event's name, as 'boardproof service list' prints it"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd.Context(), func(s *db.Store) error {
				old, err := s.FindEvent(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				b, err := s.Board(cmd.Context(), old.BoardID)
				if err != nil {
					return err
				}
				return a.keepEvent(cmd.Context(), s, b, db.Event{BoardID: b.ID, Kind: old.Kind, Text: why, Who: who, Corrects: old.ID,
					EventDetail: db.EventDetail{Withdrawn: true}})
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
			return a.readBoard(cmd.Context(), args[0], func(s *db.Store, b db.Board) error {
				l, err := s.Life(cmd.Context(), b.ID)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(append([]db.Visit{}, l.Visits...))
				}
				a.printVisits(l)
				return nil
			})
		},
	}
}

func (a *app) printVisits(l db.Life) {
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
	a.wrapped(fmt.Sprintf("%s%s  %s  ", indent, e.ID, local(e.Happened)), eventWords(e))
}

// eventWords is an event without its name and time.
func eventWords(e db.Event) string {
	words := []string{string(e.Kind)}
	if e.Withdrawn {
		words[0] = "withdrawn: " + string(e.Kind)
	}
	if e.Text != "" {
		words[0] += ": " + e.Text
	}
	words = append(words, e.Changes...)
	if len(e.Parts) > 0 {
		words = append(words, strings.Join(e.Parts, " + "))
	}
	if e.RunID != "" {
		words = append(words, "run "+e.RunID)
	}
	if e.Corrects != "" {
		words = append(words, "corrects "+e.Corrects)
	}
	if e.Who != "" {
		words = append(words, "by "+e.Who)
	}
	return strings.Join(words, "; ")
}

// when reads a date, or a date and a time, of here; "" is the zero time, which
// the store takes as now. Of a day alone a board came in at its beginning and
// went out at its end, and all else happened at noon; of today it is now.
func (a *app) when(text string, kind db.EventKind) (time.Time, error) {
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
	switch {
	case d.Format(time.DateOnly) == a.now().Local().Format(time.DateOnly):
		return a.now(), nil
	case kind == db.CameIn:
		return d, nil
	case kind == db.WentOut:
		return d.AddDate(0, 0, 1).Add(-time.Minute), nil
	}
	return d.Add(12 * time.Hour), nil
}

// day is the beginning of a day of here.
func day(text string) (time.Time, error) {
	d, err := time.ParseInLocation(time.DateOnly, text, time.Local)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no date: write it as 2026-11-25", text)
	}
	return d, nil
}
