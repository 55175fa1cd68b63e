package main

import (
	"context"
	"fmt"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/capture/simboard"
	"boardproof/capture/soundcard"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) benchCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "bench",
		Short: "Choose the audio interface and which socket is which",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.benchDevices(), a.benchSet(), a.benchShow())
	return cmd
}

func (a *app) benchDevices() *cobra.Command {
	return &cobra.Command{
		Use:   "devices",
		Short: "List the audio devices of this computer",
		Args:  noArgs,
		RunE: func(*cobra.Command, []string) error {
			all, err := soundcard.List()
			if err != nil {
				return workshop.DeviceError(err)
			}
			doc := map[string]any{"devices": all, "simulated_boards": simboard.ReadyNames()}
			return a.show(doc, func() error { return a.printDevices(all) })
		},
	}
}

func (a *app) printDevices(all []soundcard.DeviceInfo) error {
	for _, d := range all {
		a.row(fmt.Sprintf("%3d  ", d.Number), fmt.Sprintf("%s %s out %2d  in %2d  rates %s", report.Fitted(d.Name, 40), report.Fitted(d.Host, 12), d.Outputs, d.Inputs, rates(d.RatesHz)))
	}
	if len(all) == 0 {
		a.printf("no audio device is there; plug in the interface, or work with a simulated bench\n")
	}
	a.wrapped("     ", "simulated bench ('bench set NAME --simulated'), boards: "+strings.Join(simboard.ReadyNames(), ", "))
	return nil
}

func rates(hz []int) string {
	words := make([]string, len(hz))
	for i, r := range hz {
		words[i] = fmt.Sprintf("%g", float64(r)/1000)
	}
	return strings.Join(words, " ") + " kHz"
}

func (a *app) benchSet() *cobra.Command {
	var b db.Bench
	var inputs string
	var simulated bool
	cmd := &cobra.Command{
		Use:   "set NAME",
		Short: "Set up a bench: device, rate, and which input records which output of a board",
		Args:  exactArgs("the bench's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			b.Name, b.Kind = args[0], workshop.Soundcard
			if simulated {
				b.Kind, b.Device = workshop.Simulated, "simulated bench"
			}
			if b.Device == "" {
				return wrongUsef("say which device: --device NAME or NUMBER of 'boardproof bench devices', or --simulated")
			}
			patch, err := parseOutputs(inputs)
			if err != nil {
				return err
			}
			b.Inputs = map[string]int{}
			for _, p := range patch {
				b.Inputs[p.Output] = p.Input
			}
			if err := a.workshop(nil).TryBench(b); err != nil {
				return err
			}
			return a.withWorkshop(cmd.Context(), db.Open, func(w *workshop.Workshop) error {
				if err := w.SetBench(cmd.Context(), b); err != nil {
					return err
				}
				return a.showBench(cmd.Context(), w, b)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&b.Device, "device", "", "the device's name, a part of it, or its number")
	f.StringVar(&b.Host, "host", "", "the audio system to look in, where a device is there under several")
	f.IntVar(&b.RateHz, "rate", 48000, "sample rate in hertz, 44100 to 192000")
	f.IntVar(&b.Output, "output", 1, "the output channel that plays")
	f.StringVar(&inputs, "inputs", "A=1,B=2", "which input channel records which output of a board")
	f.IntVar(&b.MainsHz, "mains", 0, "the mains where the bench is, 50 or 60 (Hz): what hum is looked for where none stands out")
	f.BoolVar(&simulated, "simulated", false, "a simulated bench, no hardware")
	return cmd
}

func (a *app) benchShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show [NAME]",
		Short: "Show the benches and their latest profiles",
		Args:  atMostOne("a bench's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				if len(args) == 1 {
					b, err := w.Store.Bench(cmd.Context(), args[0])
					if err != nil {
						return err
					}
					return a.showBench(cmd.Context(), w, b)
				}
				all, err := w.Benches(cmd.Context())
				if err != nil {
					return err
				}
				return a.show(all, func() error {
					for _, b := range all {
						a.printBench(b)
					}
					return nil
				})
			})
		},
	}
}

// showBench shows how a bench stands.
func (a *app) showBench(ctx context.Context, w *workshop.Workshop, b db.Bench) error {
	state, err := w.BenchState(ctx, b)
	if err != nil {
		return err
	}
	return a.show(state, func() error {
		a.printBench(state)
		return nil
	})
}

func (a *app) printBench(state workshop.BenchState) {
	b, p := state.Bench, state.Profile
	a.wrapped("", fmt.Sprintf("bench %s: %s, %g kHz, plays on output %d", b.Name, b.Device, float64(b.RateHz)/1000, b.Output))
	a.wrapped("  ", "records "+inputList(b.Inputs))
	if b.MainsHz > 0 {
		a.wrapped("  ", fmt.Sprintf("mains of %d Hz", b.MainsHz))
	}
	if p == nil {
		a.wrapped("  ", fmt.Sprintf("not calibrated: 'boardproof calibrate --bench %q'", b.Name))
		return
	}
	a.printProfile(p)
}

func inputList(inputs map[string]int) string {
	var words []string
	for o, ch := range inputs {
		words = append(words, fmt.Sprintf("output %s at input %d", o, ch))
	}
	sort.Strings(words)
	return strings.Join(words, ", ")
}
