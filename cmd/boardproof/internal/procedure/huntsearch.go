package procedure

import (
	"context"
	"errors"
	"slices"
	"strings"

	"boardproof/analysis/hunt"
	"boardproof/capture"
)

// searching is one silence of a search: the devices that are on, and how the
// others are taken out.
type searching struct {
	devices, on []string
	// by is hunt.SupplyOff or hunt.DeviceBypassed.
	by string
}

func (s *searching) off() []string {
	var off []string
	for _, d := range s.devices {
		if !slices.Contains(s.on, d) {
			off = append(off, d)
		}
	}
	return off
}

func (s *searching) conditions() []capture.Condition {
	var all []capture.Condition
	for _, d := range s.off() {
		all = append(all, capture.Condition{Change: capture.Change(s.by), Subject: d})
	}
	return all
}

// condition names the silence: each is one of its own.
func (s *searching) condition() hunt.Condition {
	switch {
	case len(s.off()) == 0:
		return hunt.AsFound
	case len(s.on) == 0:
		return hunt.Condition{Change: "no device on"}
	}
	return hunt.Condition{Change: "only " + strings.Join(s.on, ", ") + " on"}
}

func (s *searching) handWork(first bool) (prompt, caution string) {
	cautions := []string{plugCaution}
	how := "unplug the supply leads of "
	if s.by == hunt.DeviceBypassed {
		how = "take out of the signal's way, by a short lead around each: "
	} else {
		cautions = append(cautions, supplyCaution)
	}
	off := s.off()
	prompt = how + strings.Join(off, ", ")
	if len(off) == 0 {
		prompt = "have every device on"
	} else if len(s.on) > 0 {
		prompt += "; leave on " + strings.Join(s.on, ", ")
	}
	if first {
		prompt = asFoundPrompt + "; then " + prompt
		cautions = append([]string{foundCaution, earthCaution}, cautions...)
	}
	return prompt, strings.Join(cautions, "; ")
}

// Search looks for the one device of the chain that hums, halving the chain
// each time. by is what takes the others out: hunt.SupplyOff or
// hunt.DeviceBypassed.
func (h *Hunt) Search(ctx context.Context, by string, lead Hunter) (hunt.Finding, error) {
	if len(h.Board.Devices) == 0 {
		return hunt.Finding{}, errors.New("the board has no devices to search through")
	}
	for {
		step, finding := h.Searched()
		if step == nil || !h.room() {
			return finding, nil
		}
		s := &searching{devices: h.Board.Devices, on: step.On, by: by}
		if err := h.tried(ctx, Choice{Condition: s.condition(), Why: step.Why}, s, lead); err != nil {
			return finding, err
		}
	}
}

// Searched is how a search stands: the next step, nil when it is over, and
// what was found.
func (h *Hunt) Searched() (*hunt.SearchStep, hunt.Finding) {
	step, device, reason := hunt.NextSearch(h.Board.Devices, h.history())
	f := hunt.Finding{Device: device, Decided: device != "", Text: reason}
	return step, f
}

func (h *Hunt) history() []hunt.SearchTake {
	var history []hunt.SearchTake
	output := ""
	for _, d := range h.Done {
		if output == "" {
			output = hunt.MostHum(d.Readings)
		}
		for _, r := range d.Readings {
			if r.Output == output && r.Reason == "" {
				history = append(history, hunt.SearchTakeOf(d.On, r))
			}
		}
	}
	return history
}
