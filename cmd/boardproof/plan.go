package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) planCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "Show, edit or check a board's acceptance plan",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.planShow(), a.planEdit(), a.planCheck())
	return cmd
}

func (a *app) planShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show [BOARD]",
		Short: "Print a board's plan, or the default one",
		Args:  atMostOne("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return a.printPlan(verdict.DefaultPlanTOML)
			}
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				_, p, err := w.Plan(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				return a.printPlan([]byte(p.Text))
			})
		},
	}
}

func (a *app) printPlan(text []byte) error {
	return a.show(planText(text), func() error {
		_, err := report.Seen{To: a.out}.Write(text)
		return err
	})
}

// planText is a plan as it was written, which is a document once it is read.
type planText []byte

// MarshalJSON gives the plan that the text is.
func (t planText) MarshalJSON() ([]byte, error) {
	p, err := verdict.ParsePlan(t)
	if err != nil {
		return nil, err
	}
	return json.Marshal(p)
}

func (a *app) planEdit() *cobra.Command {
	var from string
	cmd := &cobra.Command{
		Use:   "edit BOARD",
		Short: "Edit a board's plan in $EDITOR, or take it from a file",
		Args:  exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenExisting, func(w *workshop.Workshop) error {
				b, p, err := w.Plan(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				text, err := a.newPlan(cmd.Context(), []byte(p.Text), from)
				if err != nil {
					return err
				}
				err = a.keepPlan(cmd.Context(), w, b, p, text)
				if err != nil && from == "" {
					return setAside(text, err)
				}
				return err
			})
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "take the plan from this file, - for standard input")
	return cmd
}

// newPlan returns the plan as the operator wants it.
func (a *app) newPlan(ctx context.Context, old []byte, from string) ([]byte, error) {
	switch {
	case from == "-":
		text, err := readAtMost(a.in, largestPlan)
		return text, unreadable("standard input", err)
	case from != "":
		return readFile(from, largestPlan)
	case a.yes:
		return nil, wrongUsef("--yes opens no editor: give the plan with --from FILE")
	}
	return edited(ctx, old)
}

// edited lets the operator change text in an editor.
func edited(ctx context.Context, text []byte) ([]byte, error) {
	editor := os.Getenv("VISUAL")
	if editor == "" {
		editor = os.Getenv("EDITOR")
	}
	if editor == "" {
		return nil, wrongUsef("no editor is set in $EDITOR: set one, or use 'plan show BOARD > FILE' and 'plan edit BOARD --from FILE'")
	}
	f, err := os.CreateTemp("", "plan-*.toml")
	if err != nil {
		return nil, err
	}
	defer os.Remove(f.Name())
	if _, err := f.Write(text); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	if err := f.Close(); err != nil {
		return nil, err
	}
	// $EDITOR may hold arguments, as in "vi -n": the shell splits it.
	cmd := exec.CommandContext(ctx, "sh", "-c", editor+` "$1"`, "sh", f.Name())
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	if err := cmd.Run(); err != nil {
		return nil, wrongUsef("running the editor %q: %w", editor, err)
	}
	return readFile(f.Name(), largestPlan)
}

// setAside writes a plan that came from the editor and was not kept, for the
// reason why, to a file, so that the editing is not lost.
func setAside(text []byte, why error) error {
	f, err := os.CreateTemp("", "plan-*.toml")
	if err == nil {
		_, err = f.Write(text)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		return errors.Join(why, fmt.Errorf("setting the edited plan aside: %w", err))
	}
	return fmt.Errorf("%w; what you wrote is in %s: correct it there and use --from", why, f.Name())
}

func (a *app) keepPlan(ctx context.Context, w *workshop.Workshop, b db.Board, old db.Plan, text []byte) error {
	p, isNew, err := w.KeepPlan(ctx, b, old, text)
	if err != nil {
		return err
	}
	how := "is as it was,"
	if isNew {
		how = "is kept as"
	}
	return a.show(map[string]any{"board": b.Label, "version": p.Version}, func() error {
		a.printf("the plan of %s %s version %d\n", b.Label, how, p.Version)
		return nil
	})
}

func (a *app) planCheck() *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE",
		Short: "Check a plan file without keeping it",
		Args:  exactArgs("a plan file"),
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := readFile(args[0], largestPlan)
			if err != nil {
				return err
			}
			p, err := workshop.CheckPlan(text)
			if err != nil {
				return wrongUsef("%s: %w", args[0], err)
			}
			limits := 0
			for _, s := range p.Steps {
				limits += len(s.Limits) + len(s.Masks)
			}
			doc := map[string]any{"file": args[0], "name": p.Name, "steps": len(p.Steps), "limits": limits, "rule": p.Rule}
			return a.show(doc, func() error {
				a.printf("%s: %q, %s, %s, rule %s\n", args[0], p.Name, report.Count(len(p.Steps), "step"), report.Count(limits, "limit"), p.Rule)
				return nil
			})
		},
	}
}
