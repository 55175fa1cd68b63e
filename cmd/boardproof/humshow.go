package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) humShowCommand() *cobra.Command {
	var plots string
	cmd := &cobra.Command{
		Use:   "show [HUNT|BOARD]",
		Short: "Show a hum hunt as a story with its numbers, and its plot",
		Long: "Show a hum hunt: what was tried, what it changed, what came of it. Of a board it is the\n" +
			"latest; without an argument the latest of all.",
		Args: atMostOne("a hunt or a board"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				h, err := w.FindHunt(cmd.Context(), strings.Join(args, ""))
				if err != nil {
					return err
				}
				return a.presentHunt(w.Store, h, plots, true)
			})
		},
	}
	cmd.Flags().StringVar(&plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (a *app) humListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list [BOARD]",
		Short: "List the hum hunts of a board, or of all",
		Args:  atMostOne("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				hunts, err := w.Hunts(cmd.Context(), strings.Join(args, ""))
				if err != nil {
					return err
				}
				return a.show(append([]db.Hunt{}, hunts...), func() error { return a.printHunts(hunts) })
			})
		},
	}
}

func (a *app) printHunts(hunts []db.Hunt) error {
	if len(hunts) == 0 {
		a.printf("no hum hunts yet: 'boardproof hum hunt BOARD'\n")
	}
	for _, h := range hunts {
		words := []string{h.BoardAsWas.Label}
		if h.Name != "" {
			words = append(words, fmt.Sprintf("%q", h.Name))
		}
		words = append(words, huntMarks(h)...)
		a.printf("%s  %s  %s\n", h.ID, local(h.Started), strings.Join(words, ", "))
		a.wrapped("    ", h.Finding.Text)
	}
	return nil
}

// huntMarks are what must be known of a hunt before it is believed.
func huntMarks(h db.Hunt) []string {
	var marks []string
	if h.Simulated {
		marks = append(marks, "SIMULATED")
	}
	if h.Unfinished {
		marks = append(marks, "UNFINISHED")
	}
	return marks
}

// presentHunt draws a hunt's plots and prints what came of it, with story all
// that was tried before. It prints it also where the plots could not be drawn.
func (a *app) presentHunt(s *db.Store, h db.Hunt, dir string, story bool) error {
	paths, drawErr := drawHunt(plotsDir(s, dir, h.ID), h)
	drawErr = a.drawn(dir, drawErr)
	changes := hunt.Changes(h.Readings())
	doc := report.Document{Simulated: h.Simulated, Board: h.BoardAsWas, Profile: profileName(h), Hunt: huntInfo{
		Hunt: h, Decided: h.Finding.Decided, Changes: changes, PlotsDrawn: paths,
	}}
	err := a.show(doc, func() error { return a.printHunt(h, changes, paths, story) })
	return errors.Join(err, drawErr, unreadHunt(h))
}

func (a *app) printHunt(h db.Hunt, changes []hunt.Change, plots []string, story bool) error {
	which, how := huntHead(h)
	a.wrapped("", which)
	a.wrapped("", how)
	if story {
		a.printf("\n")
		for i, c := range h.Conditions {
			if err := report.HuntSilence(a.out, a.columns, i+1, c.Condition, c.Why, c.Readings, changes); err != nil {
				return err
			}
			a.printf("\n")
		}
	}
	a.printFinding(h.Finding)
	a.printPlots(plots)
	return nil
}

// huntHead is two lines: which hunt, and how it was made.
func huntHead(h db.Hunt) (which, how string) {
	words := []string{"hunt " + h.ID}
	if h.Name != "" {
		words[0] += fmt.Sprintf(" %q", h.Name)
	}
	words = append(append(words, "board "+h.BoardAsWas.Label, local(h.Started)), huntMarks(h)...)
	took := h.Finished.Sub(h.Started).Round(time.Second)
	made := []string{fmt.Sprintf("%s in %s", report.Count(len(h.Conditions), "silence"), took)}
	switch {
	case h.Bench == "":
		made = append(made, "from recordings")
	case h.ProfileID == "":
		made = append(made, "bench "+h.Bench, "no profile")
	default:
		made = append(made, "bench "+h.Bench, "profile "+h.ProfileID)
	}
	if h.Notes != "" {
		made = append(made, h.Notes)
	}
	return strings.Join(words, ", "), strings.Join(made, ", ")
}

func profileName(h db.Hunt) any {
	if h.ProfileID == "" {
		return nil
	}
	return h.ProfileID
}

// unreadHunt is exit 3 where nothing at all could be read.
func unreadHunt(h db.Hunt) error {
	for _, r := range h.Readings() {
		if r.Reason == "" {
			return nil
		}
	}
	return &limitFailed{exitUnmeasured}
}

// huntInfo is what the JSON says of a hunt.
type huntInfo struct {
	db.Hunt
	Decided    bool          `json:"decided"`
	Changes    []hunt.Change `json:"changes"`
	PlotsDrawn []string      `json:"plots,omitempty"`
}

func (a *app) remarkWrapped(lead, text string) {
	report.Wrap(a.voice().besides(), a.columns, lead, text)
}

// leastScore is what a cause must have to be listed, mostCauses how many are.
const leastScore, mostCauses = 0.02, 4

func (a *app) printFinding(f hunt.Finding) {
	a.wrapped("finding: ", f.Text)
	if f.Weighing == nil {
		return
	}
	for i, c := range f.Weighing.Causes {
		if i == mostCauses || c.Score < leastScore && c.Present < 0.5 {
			break
		}
		a.printf("  %-34s %s\n", c.Cause, hunt.Likelihood(c.Present))
		if c.For != "" {
			a.wrapped("      for: ", c.For)
		}
		if c.Against != "" {
			a.wrapped("      against: ", c.Against)
		}
	}
	if d := f.Weighing.Causes; len(d) > 0 && f.Decided {
		a.wrapped("  what it is: ", hunt.Describe(d[0].Cause))
	}
}

// drawHunt draws one plot for each output.
func drawHunt(dir string, h db.Hunt) ([]string, error) {
	byOutput := map[string][]hunt.Reading{}
	var outputs []string
	for _, r := range h.Readings() {
		if r.Reason != "" {
			continue
		}
		if byOutput[r.Output] == nil {
			outputs = append(outputs, r.Output)
		}
		byOutput[r.Output] = append(byOutput[r.Output], r)
	}
	if len(outputs) == 0 {
		return nil, nil
	}
	if err := makePlotsDir(dir); err != nil {
		return nil, err
	}
	var paths []string
	for i, o := range outputs {
		step := "hunt " + h.ID
		if h.Name != "" {
			step += " " + h.Name
		}
		p, err := report.SaveHunt(dir, report.HuntPlot{Output: o, Readings: byOutput[o], Heading: report.Heading{
			Board: h.BoardAsWas.Label, Step: step, Date: h.Started, Simulated: h.Simulated, Name: fmt.Sprintf("hunt-%d", i+1)}})
		if err != nil {
			return paths, err
		}
		paths = append(paths, p...)
	}
	return paths, nil
}
