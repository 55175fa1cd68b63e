package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/capture/soundcard"
	"boardproof/cmd/boardproof/internal/report"
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
				return deviceError(err)
			}
			if a.json {
				return a.printJSON(map[string]any{"devices": all, "simulated_boards": simboard.ReadyNames()})
			}
			for _, d := range all {
				a.row(fmt.Sprintf("%3d  ", d.Number), fmt.Sprintf("%s %s out %2d  in %2d  rates %s", report.Fitted(d.Name, 40), report.Fitted(d.Host, 12), d.Outputs, d.Inputs, rates(d.RatesHz)))
			}
			if len(all) == 0 {
				a.printf("no audio device is there; plug in the interface, or work with a simulated bench\n")
			}
			a.wrapped("     ", "simulated bench ('bench set NAME --simulated'), boards: "+strings.Join(simboard.ReadyNames(), ", "))
			return nil
		},
	}
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
			b.Name, b.Kind = args[0], "soundcard"
			if simulated {
				b.Kind, b.Device = kindSimulated, "simulated bench"
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
			if b.MainsHz != 0 && b.MainsHz != 50 && b.MainsHz != 60 {
				return wrongUsef("--mains %d is neither 50 nor 60", b.MainsHz)
			}
			if err := a.tryBench(b, patch); err != nil {
				return err
			}
			return a.withNewStore(cmd.Context(), func(s *db.Store) error {
				if err := s.SetBench(cmd.Context(), b); err != nil {
					return err
				}
				return a.printBench(cmd.Context(), s, b)
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

// tryBench opens the device and makes sure that the channels exist.
func (a *app) tryBench(b db.Bench, patch []calibration.Patching) error {
	in, closeDevice, err := a.openInstrument(b, benchFlags{})
	if err != nil {
		return err
	}
	d := in.Describe()
	if err := closeDevice(); err != nil {
		return unmeasured(err)
	}
	if b.Output < 1 || b.Output > d.Outputs {
		return wrongUsef("%s has outputs 1 to %d, not %d", d.Device, d.Outputs, b.Output)
	}
	for _, p := range patch {
		if p.Input > d.Inputs {
			return wrongUsef("%s has inputs 1 to %d, not %d", d.Device, d.Inputs, p.Input)
		}
	}
	return nil
}

func (a *app) benchShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show [NAME]",
		Short: "Show the benches and their latest profiles",
		Args:  atMostOne("a bench's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.readStore(cmd.Context(), func(s *db.Store) error {
				if len(args) == 1 {
					b, err := s.Bench(cmd.Context(), args[0])
					if err != nil {
						return err
					}
					return a.printBench(cmd.Context(), s, b)
				}
				all, err := s.Benches(cmd.Context())
				if err != nil {
					return err
				}
				if len(all) == 0 {
					_, err := chooseBench(cmd.Context(), s, benchFlags{})
					return err
				}
				return a.printBenches(cmd.Context(), s, all)
			})
		},
	}
}

// benchDocument is a bench as JSON, its latest profile null where it was not
// calibrated.
type benchDocument struct {
	Bench   db.Bench             `json:"bench"`
	Profile *calibration.Profile `json:"profile"`
}

func (a *app) printBenches(ctx context.Context, s *db.Store, all []db.Bench) error {
	docs := []benchDocument{}
	for _, b := range all {
		if !a.json {
			if err := a.printBench(ctx, s, b); err != nil {
				return err
			}
			continue
		}
		p, err := latestProfile(ctx, s, b.Name)
		if err != nil {
			return err
		}
		docs = append(docs, benchDocument{b, p})
	}
	if a.json {
		return a.printJSON(docs)
	}
	return nil
}

func (a *app) printBench(ctx context.Context, s *db.Store, b db.Bench) error {
	p, err := latestProfile(ctx, s, b.Name)
	if err != nil {
		return err
	}
	if a.json {
		return a.printJSON(benchDocument{b, p})
	}
	a.wrapped("", fmt.Sprintf("bench %s: %s, %g kHz, plays on output %d", b.Name, b.Device, float64(b.RateHz)/1000, b.Output))
	a.wrapped("  ", "records "+inputList(b.Inputs))
	if b.MainsHz > 0 {
		a.wrapped("  ", fmt.Sprintf("mains of %d Hz", b.MainsHz))
	}
	if p == nil {
		a.wrapped("  ", fmt.Sprintf("not calibrated: 'boardproof calibrate --bench %q'", b.Name))
		return nil
	}
	a.printProfile(p)
	return nil
}

func inputList(inputs map[string]int) string {
	var words []string
	for o, ch := range inputs {
		words = append(words, fmt.Sprintf("output %s at input %d", o, ch))
	}
	sort.Strings(words)
	return strings.Join(words, ", ")
}

func (a *app) printJSON(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encoding as JSON: %w", err)
	}
	_, err = fmt.Fprintln(report.Seen{To: a.out}, string(b))
	return errors.Join(err)
}
