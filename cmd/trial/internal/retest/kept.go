package retest

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"boardproof/analysis/change"
)

// sittings is what two measurements of one board read. One that was refused,
// as clipped, has no readings.
type sittings struct {
	Seed         uint64      `json:"seed"`
	Bench        int         `json:"bench"`
	Board        int         `json:"board"`
	Recalibrated bool        `json:"recalibrated"`
	Before       change.Side `json:"before"`
	After        change.Side `json:"after"`
}

func (s sittings) measured() bool { return len(s.Before.Readings) > 0 && len(s.After.Readings) > 0 }

// ties says what the two have in common: the interface and the methods always.
func (s sittings) ties() change.Ties {
	return change.Ties{Profile: !s.Recalibrated, Interface: true, Method: true}
}

// keep writes a board to w as a line of JSON.
func keep(w io.Writer, s sittings) error {
	if err := json.NewEncoder(w).Encode(s); err != nil {
		return fmt.Errorf("keeping what was read: %w", err)
	}
	return nil
}

// readKept gives each of what keep wrote to the files at paths. One board twice is an
// error: it would count for two.
func readKept(paths []string, each func(sittings)) error {
	type board struct {
		seed          uint64
		bench, number int
	}
	seen := map[board]string{}
	one := func(s sittings, path string) error {
		b := board{s.Seed, s.Bench, s.Board}
		if seen[b] != "" {
			return fmt.Errorf("seed %d, bench %d, board %d is in %s too: name files of different seeds", s.Seed, s.Bench, s.Board, seen[b])
		}
		seen[b] = path
		each(s)
		return nil
	}
	for _, path := range paths {
		if err := readKeptFile(path, one); err != nil {
			return fmt.Errorf("reading %s: %w", path, err)
		}
	}
	return nil
}

func readKeptFile(path string, each func(sittings, string) error) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // only read
	d := json.NewDecoder(bufio.NewReader(f))
	for {
		var s sittings
		err := d.Decode(&s)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = each(s, path)
		}
		if err != nil {
			return err
		}
	}
}
