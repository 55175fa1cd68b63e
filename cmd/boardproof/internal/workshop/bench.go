package workshop

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// BenchUse says which bench is used, and what is simulated on it.
type BenchUse struct {
	// Bench is its name; "" is the only one that there is.
	Bench string
	Simulation
}

// Use says how a bench is used to measure as it is calibrated.
type Use struct {
	BenchUse
	// NoCheck: the bench is not checked before use, and the result says so.
	NoCheck bool
	// BoardIn: a board is in even if it passes the signal as the loopback lead does.
	BoardIn bool
	// Repeats is how often each signal is taken; 0 is as the plan says, or once.
	Repeats int
}

// Check finds what is wrong with u before anything is opened.
func (u Use) Check() error {
	if u.Repeats < 0 || u.Repeats > verdict.MaxRepeats {
		return fieldf("repeats", " %d is outside 1 to %d", u.Repeats, verdict.MaxRepeats)
	}
	return nil
}

// ChooseBench finds the bench of a name, or for "" the only one that there is.
func (w *Workshop) ChooseBench(ctx context.Context, name string) (db.Bench, error) {
	if name != "" {
		b, err := w.Store.Bench(ctx, name)
		return b, invalid(err)
	}
	all, err := w.Store.Benches(ctx)
	if err != nil {
		return db.Bench{}, err
	}
	switch len(all) {
	case 0:
		return db.Bench{}, invalidf("no bench is set up: 'boardproof bench devices' lists what is there, 'boardproof bench set' takes one")
	case 1:
		return all[0], nil
	}
	names := make([]string, len(all))
	for i, b := range all {
		names[i] = b.Name
	}
	return db.Bench{}, invalidf("there are %d benches, %s: name one with --bench", len(all), strings.Join(names, ", "))
}

// open takes a bench for this program alone and opens its instrument. close is
// never nil.
func (w *Workshop) open(b db.Bench, s Simulation) (in capture.Instrument, close func() error, err error) {
	release, err := w.hold(b)
	if err != nil {
		return nil, func() error { return nil }, err
	}
	in, shut, err := w.Open(b, s)
	if err != nil {
		return nil, shut, errors.Join(err, release())
	}
	found := b
	if b.Kind != Simulated {
		found.Host, found.Device = in.Describe().Host, in.Describe().Device
	}
	if w.benchKey(found) == w.benchKey(b) {
		return in, func() error { return errors.Join(shut(), release()) }, nil
	}
	// Another bench may call this interface by another part of its name.
	releaseFound, err := w.hold(found)
	if err != nil {
		return nil, func() error { return nil }, errors.Join(err, shut(), release())
	}
	return in, func() error { return errors.Join(shut(), releaseFound(), release()) }, nil
}

// LatestProfile returns the bench's newest profile, nil when there is none.
func (w *Workshop) LatestProfile(ctx context.Context, bench string) (*calibration.Profile, error) {
	p, err := w.Store.LatestProfile(ctx, bench)
	if errors.Is(err, db.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the bench's profile: %w", err)
	}
	return &p, nil
}

// connected is an instrument at work on a bench.
func (w *Workshop) connected(b db.Bench, in capture.Instrument, patch []calibration.Patching, p *calibration.Profile) *procedure.Sitting {
	return &procedure.Sitting{Instrument: in, Output: b.Output, MainsHz: float64(b.MainsHz), Patching: patch, Profile: p, Person: w.Person, Now: w.Now}
}

// sitting connects a bench for outputs, the board's outputs in order.
func (w *Workshop) sitting(ctx context.Context, b db.Bench, in capture.Instrument, outputs []string, p *calibration.Profile) (*procedure.Sitting, error) {
	var patch []calibration.Patching
	for _, o := range outputs {
		channel, ok := b.Inputs[o]
		if !ok {
			return nil, invalidf("bench %q has no input for output %s: 'boardproof bench set %q --inputs %s=CHANNEL,...'", b.Name, o, b.Name, o)
		}
		patch = append(patch, calibration.Patching{Output: o, Input: channel})
	}
	s := w.connected(b, in, patch, p)
	return s, invalid(s.CheckProfile(ctx))
}

// checkBench holds the bench against its profile before a board is connected.
// note, where not "", is to be kept with what is measured.
func (w *Workshop) checkBench(ctx context.Context, sit *procedure.Sitting, u Use) (check *procedure.BenchCheck, note string, err error) {
	if u.NoCheck {
		check = &procedure.BenchCheck{Note: procedure.BenchNotChecked}
	} else if check, err = sit.CheckBench(ctx); err != nil {
		return nil, "", err
	}
	if check.Note != "" && sit.Profile != nil {
		w.Person.Tell(ctx, talk.Remark{Text: check.Note})
	}
	return check, check.Note, nil
}

// byChannel are the outputs that a bench has an input for, in the order of the
// inputs, so that the reference is the first one.
func byChannel(inputs map[string]int) []string {
	names := slices.Collect(maps.Keys(inputs))
	slices.SortFunc(names, func(x, y string) int { return inputs[x] - inputs[y] })
	return names
}
