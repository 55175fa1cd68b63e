package hunts

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/randombench"
	"boardproof/testsignals"
)

const (
	// mostConditions are recorded in one hunt, as found included.
	mostConditions = 10
	// betweenS is how long a condition takes at the bench.
	betweenS = 30.0
	// markDBFS is what the marks beside each silence are derived from.
	markDBFS = -24.0
)

// lead hunts as the tool does that follows its own first proposal each time,
// and returns how the causes stand and under how many conditions. A hunt ends
// where a take is refused; one whose first is has no weighing.
func (b *board) lead(ctx context.Context, profile *calibration.Profile, silenceS float64) (hunt.Weighing, int, error) {
	sim, err := simboard.New(b.config)
	if err != nil {
		return hunt.Weighing{}, 0, err
	}
	sig, err := testsignals.Generate(testsignals.New(testsignals.Silence, randombench.RateHz, markDBFS, silenceS))
	if err != nil {
		return hunt.Weighing{}, 0, err
	}
	var all []hunt.Reading
	c := hunt.AsFound
	for n := 1; ; n++ {
		readings, err := b.kept(c, func() ([]hunt.Reading, error) { return read(ctx, sim, sig, profile, c) })
		if err != nil {
			var refused *capture.BadTake
			if errors.As(err, &refused) && n > 1 {
				return hunt.Weigh(b.can, all), n, nil
			}
			return hunt.Weighing{}, n, fmt.Errorf("%s: %w", c, err)
		}
		for i := range readings {
			readings[i].AtS = betweenS * float64(n-1)
		}
		all = append(all, readings...)
		w := hunt.Weigh(b.can, all)
		if w.Decided || w.Next == nil || n == mostConditions {
			return w, n, nil
		}
		c = w.Next.Condition
	}
}

// kept takes a silence's readings from the folder that keeps them, or reads it
// and keeps them there.
func (b *board) kept(c hunt.Condition, read func() ([]hunt.Reading, error)) ([]hunt.Reading, error) {
	if b.keep == "" {
		return read()
	}
	path := filepath.Join(b.keep, strings.ReplaceAll(c.String(), " ", "-")+".json")
	var readings []hunt.Reading
	if text, err := os.ReadFile(path); err == nil {
		if err := json.Unmarshal(text, &readings); err != nil {
			return nil, fmt.Errorf("reading %s: %w", path, err)
		}
		return readings, nil
	}
	readings, err := read()
	if err != nil {
		return nil, err
	}
	text, err := json.Marshal(readings)
	if err == nil {
		err = os.MkdirAll(b.keep, 0o755)
	}
	if err == nil {
		err = os.WriteFile(path, text, 0o644)
	}
	if err != nil {
		return nil, fmt.Errorf("keeping the readings of %s: %w", c, err)
	}
	return readings, nil
}

// read records and reads one silence. Where no mark came through under a
// condition it is read all the same, as at the bench.
func read(ctx context.Context, sim *simboard.Simboard, sig *testsignals.Signal, profile *calibration.Profile, c hunt.Condition) ([]hunt.Reading, error) {
	req := capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Patch: capture.ToBoard}
	if c != hunt.AsFound {
		req.Conditions = []capture.Condition{{Change: capture.Change(c.Change), Subject: c.Subject}}
	}
	take, err := sim.Record(ctx, req)
	if err != nil {
		return nil, err
	}
	proof, err := capture.Check(take, sig, capture.Expect{})
	var bad *capture.BadTake
	if c != hunt.AsFound && errors.As(err, &bad) && bad.Fault == capture.NoSignal {
		proof, err = capture.Check(take, sig, capture.Expect{NoSignal: true})
	}
	if err != nil {
		return nil, err
	}
	rec, _, err := calibration.Recording(take, proof, sig, randombench.Patching, profile, time.Now())
	if err != nil {
		return nil, err
	}
	if c != hunt.AsFound {
		rec.Problems = nil
	}
	return hunt.Read(rec, c)
}
