package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/capture/soundcard"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// benchFlags choose the bench of a command.
type benchFlags struct {
	bench    string
	simulate string
	knobs    []string
	// chain is what the devices of a simulated board are called; nil leaves it its own.
	chain []string
}

func (f *benchFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.bench, "bench", "", "the bench to use (default: the only one there is)")
	cmd.Flags().StringVar(&f.simulate, "simulate", "", "lay this simulated board on a simulated bench: "+strings.Join(simboard.ReadyNames(), ", "))
}

// addUse adds the flags of a command that measures with a bench as calibrated.
func (f *useFlags) add(cmd *cobra.Command) {
	f.benchFlags.add(cmd)
	cmd.Flags().BoolVar(&f.noCheck, "no-check", false, "do not check the bench against its profile before use; the result says so")
	f.addBoardIn(cmd)
	cmd.Flags().IntVar(&f.repeats, "repeats", 0, "take each signal so often and average (default: as the plan says, or once)")
	cmd.Flags().StringArrayVar(&f.knobs, "simulate-knob", nil, "turn a control of the simulated interface, in dB, as in 2=+0.3 or output=-1")
	cmd.Flags().MarkHidden("simulate-knob") //nolint:errcheck // it was added above
}

// addBoardIn adds the flag that answers whether the board is in.
func (f *useFlags) addBoardIn(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.boardIn, "board-in", false, "a board is in even if it passes the signal just as the loopback lead does")
}

// useFlags are those of a command that measures.
type useFlags struct {
	benchFlags
	noCheck bool
	boardIn bool
	repeats int
}

func (f *useFlags) check() error {
	if f.repeats < 0 || f.repeats > verdict.MaxRepeats {
		return wrongUsef("--repeats %d is outside 1 to %d", f.repeats, verdict.MaxRepeats)
	}
	return nil
}

// chooseBench finds the bench that is meant.
func chooseBench(ctx context.Context, s *db.Store, f benchFlags) (db.Bench, error) {
	if f.bench != "" {
		b, err := s.Bench(ctx, f.bench)
		return b, wrongUse(err)
	}
	all, err := s.Benches(ctx)
	if err != nil {
		return db.Bench{}, err
	}
	switch len(all) {
	case 0:
		return db.Bench{}, wrongUsef("no bench is set up: 'boardproof bench devices' lists what is there, 'boardproof bench set' takes one")
	case 1:
		return all[0], nil
	}
	names := make([]string, len(all))
	for i, b := range all {
		names[i] = b.Name
	}
	return db.Bench{}, wrongUsef("there are %d benches, %s: name one with --bench", len(all), strings.Join(names, ", "))
}

// openInstrument takes a bench for this program alone and connects to its
// instrument. close is never nil.
func (a *app) openInstrument(b db.Bench, f benchFlags) (in capture.Instrument, close func() error, err error) {
	release, err := a.hold(b)
	if err != nil {
		return nil, func() error { return nil }, err
	}
	in, shut, err := a.connect(b, f)
	if err != nil {
		return nil, shut, errors.Join(err, release())
	}
	found := b
	if b.Kind != kindSimulated {
		found.Host, found.Device = in.Describe().Host, in.Describe().Device
	}
	if a.benchKey(found) == a.benchKey(b) {
		return in, func() error { return errors.Join(shut(), release()) }, nil
	}
	// Another bench may call this interface by another part of its name.
	releaseFound, err := a.hold(found)
	if err != nil {
		return nil, func() error { return nil }, errors.Join(err, shut(), release())
	}
	return in, func() error { return errors.Join(shut(), releaseFound(), release()) }, nil
}

func (a *app) connect(b db.Bench, f benchFlags) (in capture.Instrument, close func() error, err error) {
	none := func() error { return nil }
	if b.Kind != kindSimulated {
		if f.simulate != "" || len(f.knobs) > 0 {
			return nil, none, wrongUsef("bench %q is a real one: --simulate goes with a bench set up with 'bench set NAME --simulated'", b.Name)
		}
		sc, err := soundcard.Open(soundcard.Config{Device: b.Device, Host: b.Host, RateHz: b.RateHz})
		if err != nil {
			return nil, none, deviceError(err)
		}
		return sc, sc.Close, nil
	}
	name := f.simulate
	if name == "" {
		name = "good"
	}
	cfg, err := a.ready(name)
	if err != nil {
		return nil, none, wrongUse(err)
	}
	cfg.RateHz, cfg.Now = b.RateHz, a.now
	cfg.CallDevices(f.chain)
	sim, err := simboard.New(cfg)
	if err != nil {
		return nil, none, wrongUse(err)
	}
	return sim, none, wrongUse(turnKnobs(sim, f.knobs))
}

// turnKnobs turns controls of a simulated interface, each as in 2=+0.3.
func turnKnobs(sim *simboard.Simboard, knobs []string) error {
	for _, k := range knobs {
		control, by, _ := strings.Cut(k, "=")
		dB, err := strconv.ParseFloat(by, 64)
		if err != nil {
			return fmt.Errorf("--simulate-knob %q is not INPUT=dB or output=dB, as in 2=+0.3", k)
		}
		if control == "output" {
			err = sim.SetOutputGainDB(dB)
		} else if input, bad := strconv.Atoi(control); bad == nil {
			err = sim.SetInputGainDB(input, dB)
		} else {
			err = fmt.Errorf("--simulate-knob %q names no input and not output", k)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

const kindSimulated = "simboard"

// deviceError gives wrong use where the operator named what is not there,
// unmeasured where the device itself would not.
func deviceError(err error) error {
	for _, e := range []error{soundcard.ErrNoDevice, soundcard.ErrAmbiguous, soundcard.ErrRate, soundcard.ErrChannel} {
		if errors.Is(err, e) {
			return wrongUse(err)
		}
	}
	return unmeasured(err)
}

// sitting connects a bench for outputs, the board's outputs in order.
func (a *app) sitting(ctx context.Context, b db.Bench, in capture.Instrument, outputs []string, p *calibration.Profile) (*procedure.Sitting, error) {
	s := &procedure.Sitting{Instrument: in, Output: b.Output, MainsHz: float64(b.MainsHz), Profile: p, Person: a.talk(), Now: a.now}
	for _, o := range outputs {
		channel, ok := b.Inputs[o]
		if !ok {
			return nil, wrongUsef("bench %q has no input for output %s: 'boardproof bench set %q --inputs %s=CHANNEL,...'", b.Name, o, b.Name, o)
		}
		s.Patching = append(s.Patching, calibration.Patching{Output: o, Input: channel})
	}
	return s, wrongUse(s.CheckProfile(ctx))
}

// checkBench holds the bench against its profile before a board is connected.
// note, where not "", is to be kept with what is measured.
func (a *app) checkBench(ctx context.Context, sit *procedure.Sitting, f useFlags) (check *procedure.BenchCheck, note string, err error) {
	if f.noCheck {
		check = &procedure.BenchCheck{Note: procedure.BenchNotChecked}
	} else if check, err = sit.CheckBench(ctx); err != nil {
		return nil, "", err
	}
	if check.Note != "" && sit.Profile != nil {
		sit.Person.Tell(ctx, talk.Remark{Text: check.Note})
	}
	return check, check.Note, nil
}

// parseOutputs reads A=1,B=2 in the order given.
func parseOutputs(text string) ([]calibration.Patching, error) {
	var all []calibration.Patching
	for _, pair := range strings.Split(text, ",") {
		name, number, ok := strings.Cut(strings.TrimSpace(pair), "=")
		channel, err := strconv.Atoi(strings.TrimSpace(number))
		name = strings.TrimSpace(name)
		if !ok || err != nil || channel < 1 || name == "" {
			return nil, wrongUsef("%q is not outputs and their channels, as in A=1,B=2", text)
		}
		if slices.ContainsFunc(all, func(p calibration.Patching) bool { return p.Output == name || p.Input == channel }) {
			return nil, wrongUsef("%q names an output or a channel twice", text)
		}
		all = append(all, calibration.Patching{Output: name, Input: channel})
	}
	return all, nil
}

// latestProfile returns the bench's newest profile, nil with a note when
// there is none.
func latestProfile(ctx context.Context, s *db.Store, bench string) (*calibration.Profile, error) {
	p, err := s.LatestProfile(ctx, bench)
	if errors.Is(err, db.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the bench's profile: %w", err)
	}
	return &p, nil
}
