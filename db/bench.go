package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// Bench is an audio interface and how it is wired to a board.
type Bench struct {
	Name string `json:"name"`
	// Kind is the kind of instrument: "soundcard", "simboard" or "wavtake".
	Kind   string `json:"kind"`
	Device string `json:"device,omitempty"`
	Host   string `json:"host,omitempty"`
	RateHz int    `json:"rate_hz"`
	// Output is the channel that plays, Inputs the channel that records each
	// output of the board, both from 1.
	Output int            `json:"output"`
	Inputs map[string]int `json:"inputs"`
	// MainsHz is the nominal frequency of the mains, 50 or 60; 0 where it was not named.
	MainsHz int `json:"mains_hz,omitempty"`
}

// SetBench keeps b in place of the bench of that name, if there is one. Runs
// and profiles made on it stay as they are. The error may be ErrInvalid.
func (s *Store) SetBench(ctx context.Context, b Bench) error {
	b.Name = strings.TrimSpace(b.Name)
	if err := b.check(); err != nil {
		return err
	}
	inputs, err := json.Marshal(b.Inputs)
	if err != nil {
		return fmt.Errorf("keeping bench %q: %w", b.Name, err)
	}
	return s.write(ctx, fmt.Sprintf("keeping bench %q", b.Name), func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, sqlSetBench, fold(b.Name), b.Name, b.Kind, b.Device, b.Host, b.RateHz, b.Output, string(inputs), b.MainsHz)
		return err
	})
}

func (b Bench) check() error {
	bad := func(format string, args ...any) error {
		return ofKind(ErrInvalid, "bench %q cannot be kept: %s", b.Name, fmt.Sprintf(format, args...))
	}
	how := firstFault(MaxName, false, [2]string{"its name", b.Name}, [2]string{"its device", b.Device}, [2]string{"its host", b.Host})
	for output := range b.Inputs {
		how = cmp.Or(how, firstFault(MaxName, false, [2]string{"an output", output}))
	}
	switch {
	case how != "":
		return bad("%s", how)
	case b.Name == "":
		return bad("it has no name")
	case b.Kind == "":
		return bad("it has no kind of instrument")
	case b.RateHz <= 0 || b.Output < 1:
		return bad("rate %d Hz and output channel %d must be above zero", b.RateHz, b.Output)
	case b.MainsHz != 0 && b.MainsHz != 50 && b.MainsHz != 60:
		return bad("its mains of %d Hz is neither 50 nor 60 Hz", b.MainsHz)
	case len(b.Inputs) == 0:
		return bad("it has no inputs: give each output of the board an input channel")
	}
	owner := map[int]string{}
	for output, channel := range b.Inputs {
		if output == "" || channel < 1 {
			return bad("input channel %d for output %q: channels count from 1", channel, output)
		}
		if other, taken := owner[channel]; taken {
			return bad("input channel %d is given to outputs %q and %q: use two channels", channel, min(other, output), max(other, output))
		}
		owner[channel] = output
	}
	return nil
}

// Bench returns the bench of a name, whatever its case. The error may be a
// *NotFoundError.
func (s *Store) Bench(ctx context.Context, name string) (Bench, error) {
	b, err := scanBench(s.db.QueryRowContext(ctx, sqlBench, fold(name)))
	if errors.Is(err, sql.ErrNoRows) {
		all, err := s.labels(ctx, sqlBenchNames)
		if err != nil {
			return Bench{}, fmt.Errorf("finding bench %q: %w", name, storeFault(s.path, err))
		}
		return Bench{}, &NotFoundError{What: "bench", Name: name, Near: nearest(fold(name), all)}
	}
	if err != nil {
		return Bench{}, fmt.Errorf("finding bench %q: %w", name, storeFault(s.path, err))
	}
	return b, nil
}

// Benches lists every bench by name.
func (s *Store) Benches(ctx context.Context) ([]Bench, error) {
	benches, err := collect(ctx, s.db, scanBench, sqlBenches)
	if err != nil {
		return nil, fmt.Errorf("listing the benches: %w", storeFault(s.path, err))
	}
	return benches, nil
}

func scanBench(row scanner) (Bench, error) {
	var b Bench
	var inputs string
	if err := row.Scan(&b.Name, &b.Kind, &b.Device, &b.Host, &b.RateHz, &b.Output, &inputs, &b.MainsHz); err != nil {
		return Bench{}, err
	}
	if err := json.Unmarshal([]byte(inputs), &b.Inputs); err != nil {
		return Bench{}, fmt.Errorf("reading the inputs of bench %q: %w", b.Name, err)
	}
	return b, nil
}
