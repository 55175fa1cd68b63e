package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

// verdictWords are what --verdict takes beside the outcomes themselves.
var verdictWords = map[string][]verdict.Outcome{
	"passed":  {verdict.Pass, verdict.ConditionalPass},
	"failed":  {verdict.Fail, verdict.ConditionalFail},
	"no plan": {""},
}

func (a *app) boardFind() *cobra.Command {
	var q db.BoardQuery
	var outcome, from, to string
	cmd := &cobra.Command{
		Use:   "find [TEXT]",
		Short: "Find boards by label, owner, serial, device, verdict or date",
		Long: "Find boards. TEXT is a part of the label, the owner or the serial, whatever the case. What\n" +
			"is given beside it must be so too. Verdict and date are those of the latest run.",
		Args: atMostOne("a part of a label, an owner or a serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			q.Name = strings.Join(args, "")
			if err := readQuery(&q, outcome, from, to); err != nil {
				return err
			}
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				found, err := w.Store.FindBoards(cmd.Context(), q)
				if err != nil {
					return err
				}
				return a.printFound(found, "no board is like that: 'boardproof board list' has them all\n")
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&q.Owner, "owner", "", "a part of the owner's name")
	f.StringVar(&q.Serial, "serial", "", "a part of the serial")
	f.StringVar(&q.Device, "device", "", "a part of the name or kind of a device in the chain")
	f.StringVar(&outcome, "verdict", "", "passed, failed, an outcome as in \"conditional pass\", \"no plan\", or none (never measured)")
	f.StringVar(&from, "from", "", "last measured on this day or later, as in 2026-11-25")
	f.StringVar(&to, "to", "", "last measured on this day or earlier")
	return cmd
}

// readQuery puts the flags that are words into q.
func readQuery(q *db.BoardQuery, outcome, from, to string) error {
	outcomes := []verdict.Outcome{verdict.Pass, verdict.ConditionalPass, verdict.ConditionalFail, verdict.Fail, verdict.NotMeasured}
	word := strings.ToLower(strings.TrimSpace(outcome))
	switch {
	case word == "":
	case word == "none":
		q.NoRun = true
	case verdictWords[word] != nil:
		q.Verdicts = verdictWords[word]
	case slices.Contains(outcomes, verdict.Outcome(word)):
		q.Verdicts = []verdict.Outcome{verdict.Outcome(word)}
	default:
		return wrongUsef("--verdict %q is none of passed, failed, pass, conditional pass, conditional fail, fail, not measured, no plan, none", outcome)
	}
	var err error
	if from != "" {
		if q.From, err = day(from); err != nil {
			return wrongUsef("--from %w", err)
		}
	}
	if to != "" {
		if q.To, err = day(to); err != nil {
			return wrongUsef("--to %w", err)
		}
		q.To = q.To.AddDate(0, 0, 1)
	}
	return nil
}

// printFound lists boards, a line each, with their latest runs.
func (a *app) printFound(found []db.FoundBoard, none string) error {
	return a.show(append([]db.FoundBoard{}, found...), func() error { return a.printBoards(found, none) })
}

func (a *app) printBoards(found []db.FoundBoard, none string) error {
	for _, b := range found {
		latest := "not measured yet"
		if r := b.Latest; r != nil {
			latest = r.Finished.Local().Format(time.DateOnly) + "  " + cmp.Or(string(r.Verdict), "no plan")
			if r.Simulated {
				latest += ", SIMULATED"
			}
		}
		a.row("", fmt.Sprintf("%s  %s  %s  %s", report.Fitted(b.Label, 27), report.Fitted(b.Owner, 17), report.Fitted(b.Serial, 11), latest))
	}
	if len(found) == 0 {
		a.printf("%s", none)
	}
	return nil
}
