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
	// before are those that were on at the step before; all of them at first.
	before []string
	// by is hunt.SupplyOff or hunt.DeviceBypassed.
	by string
}

func (s *searching) off() []string {
	return without(s.devices, s.on)
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

// handWork says what to change from the step before.
func (s *searching) handWork(first bool) (prompt, caution string) {
	cautions := []string{plugCaution}
	out, back := "unplug the supply leads of ", "plug in again those of "
	if s.by == hunt.DeviceBypassed {
		out, back = "put a short lead around each of ", "put back into the signal's way "
	} else {
		cautions = append(cautions, supplyCaution)
	}
	var parts []string
	if d := without(s.before, s.on); len(d) > 0 {
		parts = append(parts, out+strings.Join(d, ", "))
	}
	if d := without(s.on, s.before); len(d) > 0 {
		parts = append(parts, back+strings.Join(d, ", "))
	}
	switch {
	case len(s.off()) == 0 && first:
		parts = []string{"have every device on"}
	case len(parts) == 0:
		parts = []string{"leave everything as it is"}
	}
	prompt = strings.Join(parts, "; ")
	if first {
		prompt = asFoundPrompt + "; then " + prompt
		cautions = append([]string{foundCaution, earthCaution}, cautions...)
	}
	return prompt, strings.Join(cautions, "; ")
}

// without are those of a that are not in b.
func without(a, b []string) []string {
	return slices.DeleteFunc(slices.Clone(a), func(d string) bool { return slices.Contains(b, d) })
}

// Search looks for the one device of the chain that hums, halving the chain
// each time. by is what takes the others out: hunt.SupplyOff or
// hunt.DeviceBypassed.
func (h *Hunt) Search(ctx context.Context, by string) (hunt.Finding, error) {
	devices := h.Board.Searched(by)
	if len(devices) == 0 {
		return hunt.Finding{}, errors.New("the board has no devices to search through")
	}
	h.searchedBy = by
	for {
		step, finding := h.Searched()
		if step == nil || !h.room() {
			return finding, nil
		}
		s := &searching{devices: devices, on: step.On, before: devices, by: by}
		if n := len(h.Done); n > 0 {
			s.before = h.Done[n-1].On
		}
		if err := h.tried(ctx, Choice{Condition: s.condition(), Why: step.Why}, s); err != nil {
			return finding, err
		}
	}
}

// Searched is how a search stands: the next step, nil when it is over, and
// what was found.
func (h *Hunt) Searched() (*hunt.SearchStep, hunt.Finding) {
	devices := h.Board.Searched(h.searchedBy)
	step, device, reason := hunt.NextSearch(devices, h.history())
	if left := without(h.Board.Devices, devices); step == nil && device == "" && len(left) > 0 {
		reason += "; without a supply, and so not searched: " + strings.Join(left, ", ") + " ('--devices --by bypass' does)"
	}
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
