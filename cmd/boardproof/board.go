package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) boardCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "board",
		Short: "Register boards, change them, find them, see their lives",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.boardAdd(), a.boardEdit(), a.boardList(), a.boardFind(), a.boardShow(), a.boardLife())
	return cmd
}

func (a *app) boardAdd() *cobra.Command {
	var b db.Board
	var outputs string
	var devices []string
	cmd := &cobra.Command{
		Use:   "add LABEL",
		Short: "Register a board with its chain of devices and the default plan",
		Long: "Register a board. Devices are given in the order of the signal, each as\n" +
			"  --device \"NAME,KIND[,VOLTS[,MILLIAMPERES[,PLUG]]]\"\n" +
			"for example --device \"moss fuzz,fuzz,9,4\" --device \"front buffer,buffer,9,12\".\n" +
			"KIND is in your own words. One with \"fuzz\" in it should see the guitar directly; one\n" +
			"with \"buffer\" or \"buffered\" in it, as in \"delay buffered\", buffers also when bypassed.",
		Args: exactArgs("the board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			b.Label = args[0]
			b.Outputs = nil
			for _, o := range strings.Split(outputs, ",") {
				b.Outputs = append(b.Outputs, strings.TrimSpace(o))
			}
			for i, text := range devices {
				d, err := parseDevice(text)
				if err != nil {
					return wrongUsef("device %d: %w", i+1, err)
				}
				b.Chain = append(b.Chain, d)
			}
			return a.withWorkshop(cmd.Context(), db.Open, func(w *workshop.Workshop) error { return a.addBoard(cmd.Context(), w, b) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&b.Owner, "owner", "", "whose board it is")
	f.StringVar(&b.Serial, "serial", "", "its serial label")
	f.StringVar(&outputs, "outputs", "A,B", "the names of its outputs, the reference first")
	f.StringArrayVar(&devices, "device", nil, "one device of the chain; repeat in the order of the signal")
	f.StringVar(&b.Notes, "notes", "", "anything worth knowing")
	return cmd
}

func parseDevice(text string) (db.Device, error) {
	parts := strings.Split(text, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	if len(parts) < 2 || len(parts) > 5 {
		return db.Device{}, fmt.Errorf("%q is not NAME,KIND[,VOLTS[,MILLIAMPERES[,PLUG]]]", text)
	}
	d := db.Device{Name: parts[0], Kind: parts[1]}
	for i, to := range []*float64{&d.SupplyV, &d.SupplyMA} {
		if len(parts) <= i+2 || parts[i+2] == "" {
			continue
		}
		v, err := strconv.ParseFloat(parts[i+2], 64)
		if err != nil {
			return db.Device{}, fmt.Errorf("%q: %q is not a number of %s", text, parts[i+2], []string{"volts", "milliamperes"}[i])
		}
		*to = v
	}
	if len(parts) == 5 {
		d.Plug = parts[4]
	}
	return d, nil
}

func (a *app) addBoard(ctx context.Context, w *workshop.Workshop, b db.Board) error {
	b, err := w.AddBoard(ctx, b)
	if err != nil {
		return err
	}
	return a.showBoard(ctx, w, b)
}

func (a *app) boardList() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the boards, with their latest verdicts",
		Args:  noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				all, err := w.Store.FindBoards(cmd.Context(), db.BoardQuery{})
				if err != nil {
					return err
				}
				return a.printFound(all, "no board is registered: 'boardproof board add LABEL'\n")
			})
		},
	}
}

func (a *app) boardShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show BOARD",
		Short: "Show a board, its chain and its runs",
		Args:  exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.onBoard(cmd.Context(), db.OpenReading, args[0], func(w *workshop.Workshop, b db.Board) error {
				return a.showBoard(cmd.Context(), w, b)
			})
		},
	}
}

func (a *app) showBoard(ctx context.Context, w *workshop.Workshop, b db.Board) error {
	state, err := w.BoardState(ctx, b)
	if err != nil {
		return err
	}
	return a.show(state, func() error {
		a.printHead(b)
		a.printChain(b)
		for _, text := range state.Warnings {
			a.warn(ctx, text)
		}
		a.printRuns(state.Runs)
		return nil
	})
}

func (a *app) printHead(b db.Board) {
	head := []string{"board " + b.Label}
	if b.Serial != "" {
		head = append(head, "serial "+b.Serial)
	}
	if b.Owner != "" {
		head = append(head, "owner "+b.Owner)
	}
	head = append(head, "outputs "+strings.Join(b.Outputs, ", "), "registered "+local(b.Created))
	a.wrapped("", strings.Join(head, ", "))
}

func (a *app) printChain(b db.Board) {
	for i, d := range b.Chain {
		a.row(fmt.Sprintf("  %2d  ", i+1), fmt.Sprintf("%s %s %s", report.Fitted(d.Name, 26), report.Fitted(d.Kind, 24), report.Fitted(supply(d), 42)))
	}
	if b.Notes != "" {
		a.wrapped("  notes: ", b.Notes)
	}
}

func supply(d db.Device) string {
	var words []string
	if d.SupplyV != 0 {
		words = append(words, fmt.Sprintf("%g V", d.SupplyV))
	}
	if d.SupplyMA != 0 {
		words = append(words, fmt.Sprintf("%g mA", d.SupplyMA))
	}
	if d.Plug != "" {
		words = append(words, d.Plug)
	}
	return strings.Join(words, ", ")
}
