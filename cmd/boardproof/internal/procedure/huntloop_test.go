package procedure

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
)

// looped is the simulated board with a ground loop at output B, on which each
// condition leaves its share of the loop's current.
type looped struct {
	capture.Instrument
	share func(c capture.Condition) float64
	takes int
}

func (l *looped) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	share := 1.0
	for _, c := range req.Conditions {
		share *= l.share(c)
	}
	l.takes++
	cfg, err := simboard.Ready("ground-loop")
	if err != nil {
		return nil, err
	}
	loop := *cfg.Board.Outputs[1].Hum.GroundLoop
	loop.AmpsRMS *= share
	cfg.Board.Outputs[1].Hum.GroundLoop = &loop
	cfg.Seed = uint64(l.takes)
	sim, err := simboard.New(cfg)
	if err != nil {
		return nil, err
	}
	req.Conditions = nil
	return sim.Record(ctx, req)
}

// The example: from "it hums" to the loop and its cure in under ten
// silences, by the proposals alone.
func TestProposalsLeadToTheGroundLoop(t *testing.T) {
	if testing.Short() {
		t.Skip("whole hunts")
	}
	isolatedDB := 31.0
	cfg, err := simboard.Ready("ground-loop")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	in := &looped{Instrument: sim, share: func(c capture.Condition) float64 {
		switch {
		case c == capture.Condition{Change: capture.OutputUnplugged, Subject: "B"}:
			return 0
		case c == capture.Condition{Change: capture.OutputIsolated, Subject: "B"}:
			return math.Pow(10, -isolatedDB/20)
		case c.Change == capture.OtherOutlet:
			return 0.1
		}
		return 1
	}}
	h := &Hunt{Sitting: &Sitting{Instrument: in, Output: 1, Person: talk.Nobody{}, Now: time.Now,
		Patching: []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}}, SilenceS: 3, AtMost: 9,
		Board: hunt.Board{Outputs: []string{"A", "B"}, Devices: []string{"fuzz", "delay"}, Isolator: true, Battery: true, LaptopBattery: true}}
	if err := h.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	f := hunt.Find(h.Board, h.Readings())
	t.Logf("%s", f.Text)
	if !f.Decided || f.Weighing.Causes[0].Cause != hunt.GroundLoop || len(h.Done) >= 10 {
		t.Errorf("%d silences: %s", len(h.Done), f.Text)
	}
	if !strings.HasPrefix(f.Text, "The loop runs through output B's amplifier and its mains outlet; the isolated output cures it, ") {
		t.Errorf("finding: %s", f.Text)
	}
	if c := f.Cure; c == nil || c.Group != hunt.Fundamental || math.Abs(c.DB.Value+isolatedDB) > 0.1+c.ExpandedDB {
		t.Errorf("the cure is %+v, set were %g dB", c, isolatedDB)
	}
}
