package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type editFlags struct {
	label, owner, serial, notes, outputs string
	remove, replace, add, move           []string
	reason, who, date                    string
}

func (a *app) boardEdit() *cobra.Command {
	var f editFlags
	cmd := &cobra.Command{
		Use:   "edit BOARD",
		Short: "Change a board, or its chain; what it was stays in its life",
		Long: "Change a board. Changes of the chain are carried out in this order: --remove, --replace,\n" +
			"--add, --move, and kept in the board's life with their date and reason. Runs that are kept\n" +
			"already show the board as it was. Once it has runs, outputs can only be added at the end.",
		Args: exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenExisting, args[0], func(w *workshop.Workshop, b db.Board) error {
				e, err := f.edit(cmd.Flags().Changed, b)
				if err != nil {
					return err
				}
				if e.Happened, err = when(w, f.date, db.ChainChanged); err != nil {
					return err
				}
				return a.editBoard(cmd.Context(), w, b, e)
			})
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.label, "label", "", "another label")
	fl.StringVar(&f.owner, "owner", "", "another owner")
	fl.StringVar(&f.serial, "serial", "", "another serial")
	fl.StringVar(&f.notes, "notes", "", "other notes")
	fl.StringVar(&f.outputs, "outputs", "", "its outputs, the reference first")
	fl.StringArrayVar(&f.remove, "remove", nil, "take a device out, by its name; repeat")
	fl.StringArrayVar(&f.replace, "replace", nil, "another in its place: \"OLD=NAME,KIND[,VOLTS[,MILLIAMPERES[,PLUG]]]\"; repeat")
	fl.StringArrayVar(&f.add, "add", nil, "a device at the end, or at a place: \"[PLACE:]NAME,KIND[,…]\"; repeat")
	fl.StringArrayVar(&f.move, "move", nil, "a device to a place: \"NAME=PLACE\"; repeat")
	fl.StringVar(&f.reason, "reason", "", "why")
	fl.StringVar(&f.who, "who", "", "who did it")
	fl.StringVar(&f.date, "date", "", "when, as in 2026-11-25 or \"2026-11-25 14:30\" (default: now)")
	return cmd
}

// edit reads the flags that were given.
func (f editFlags) edit(given func(string) bool, b db.Board) (db.BoardEdit, error) {
	e := db.BoardEdit{Reason: f.reason, Who: f.who}
	for name, to := range map[string]struct {
		from *string
		to   **string
	}{"label": {&f.label, &e.Label}, "owner": {&f.owner, &e.Owner}, "serial": {&f.serial, &e.Serial}, "notes": {&f.notes, &e.Notes}} {
		if given(name) {
			*to.to = to.from
		}
	}
	if given("outputs") {
		for _, o := range strings.Split(f.outputs, ",") {
			e.Outputs = append(e.Outputs, strings.TrimSpace(o))
		}
	}
	chain, err := f.chain(b.Chain)
	if err != nil {
		return e, err
	}
	if !slices.Equal(chain, b.Chain) {
		e.Chain = append([]db.Device{}, chain...)
	}
	return e, nil
}

// chain carries out what is asked for on a copy.
func (f editFlags) chain(was []db.Device) ([]db.Device, error) {
	chain := slices.Clone(was)
	for _, name := range f.remove {
		i, err := placeOf(chain, name)
		if err != nil {
			return nil, wrongUsef("--remove: %w", err)
		}
		chain = slices.Delete(chain, i, i+1)
	}
	for _, text := range f.replace {
		name, by, _ := strings.Cut(text, "=")
		i, err := placeOf(chain, name)
		if err != nil {
			return nil, wrongUsef("--replace: %w", err)
		}
		if chain[i], err = parseDevice(by); err != nil {
			return nil, wrongUsef("--replace %s: %w", name, err)
		}
	}
	for _, text := range f.add {
		at := len(chain) + 1
		if place, rest, ok := strings.Cut(text, ":"); ok {
			if n, err := strconv.Atoi(strings.TrimSpace(place)); err == nil {
				at, text = n, rest
			}
		}
		d, err := parseDevice(text)
		if err == nil && (at < 1 || at > len(chain)+1) {
			err = fmt.Errorf("there is no place %d: give 1 to %d", at, len(chain)+1)
		}
		if err != nil {
			return nil, wrongUsef("--add: %w", err)
		}
		chain = slices.Insert(chain, at-1, d)
	}
	return moved(chain, f.move)
}

func moved(chain []db.Device, moves []string) ([]db.Device, error) {
	for _, text := range moves {
		name, place, _ := strings.Cut(text, "=")
		i, err := placeOf(chain, name)
		if err != nil {
			return nil, wrongUsef("--move: %w", err)
		}
		to, err := strconv.Atoi(strings.TrimSpace(place))
		if err != nil || to < 1 || to > len(chain) {
			return nil, wrongUsef("--move %q: %q is no place from 1 to %d: write NAME=PLACE", text, place, len(chain))
		}
		d := chain[i]
		chain = slices.Insert(slices.Delete(chain, i, i+1), to-1, d)
	}
	return chain, nil
}

// placeOf finds a device by its name.
func placeOf(chain []db.Device, name string) (int, error) {
	name = strings.TrimSpace(name)
	var names []string
	for i, d := range chain {
		if strings.EqualFold(d.Name, name) {
			return i, nil
		}
		names = append(names, d.Name)
	}
	if len(names) == 0 {
		return 0, fmt.Errorf("there is no device on the board")
	}
	return 0, fmt.Errorf("there is no %q on the board: it has %s", name, strings.Join(names, ", "))
}

func (a *app) editBoard(ctx context.Context, w *workshop.Workshop, was db.Board, e db.BoardEdit) error {
	got, err := w.EditBoard(ctx, was, e)
	if err != nil {
		return err
	}
	for _, text := range got.Warnings {
		a.warn(ctx, text)
	}
	return a.show(got, func() error {
		if len(got.Events) == 0 {
			a.printf("nothing of board %s is to change: see 'boardproof board edit --help'\n", got.Board.Label)
		}
		for _, ev := range got.Events {
			a.printEvent(ev, "")
		}
		a.printChain(got.Board)
		return nil
	})
}
