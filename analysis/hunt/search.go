package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"boardproof/analysis"
)

// SearchTake is one measurement of a search: which devices were on (engaged,
// or powered), and how loud it was then.
type SearchTake struct {
	On []string `json:"on"`
	// RMS is of what is looked for, in volts: Hum, or one group.
	RMS        analysis.Estimate `json:"rms_v"`
	UpperBound bool              `json:"upper_bound,omitempty"`
}

// SearchStep is the next measurement to make.
type SearchStep struct {
	// On are the devices to have on, all others off.
	On []string `json:"on"`
	// Why says in one line what it will tell.
	Why string `json:"why"`
}

// How loud a part of the chain must be, against all of it, to hold the
// culprit, and how quiet to hold no part of it. Between the two no single
// device dominates: two alike are 3 or 6 dB down each, by phase.
const (
	holdsDB = -2.0
	quietDB = -8.0
)

// NextSearch proposes the next measurement of a search for the one device of
// a chain that brings the hum, halving the chain each time: all on, then
// halves, then all but the culprit and the culprit alone to confirm it,
// ceil(log2 n)+3 measurements at most where one device dominates. Where none does it falls back to one at a time.
// found is the culprit once it is confirmed; step is nil when the search is
// over. reason says what is known so far, or why no single device was found. Of
// two that have a part in it, each by itself or only both together, found names
// both.
// Of takes with the same devices on the last counts; takes with a device that
// is not in the chain are left out.
func NextSearch(devices []string, history []SearchTake) (step *SearchStep, found, reason string) {
	s := newSearch(devices, history)
	if len(s.devices) == 0 {
		return nil, "", "there is no device to search among"
	}
	all, ok := s.level(s.devices)
	if !ok {
		return &SearchStep{s.devices, "how loud it is with everything on"}, "", "nothing is measured yet"
	}
	if all.UpperBound || all.RMS.Value == 0 {
		return nil, "", "with everything on there is no hum above the noise: nothing to search for"
	}
	suspects, step, split := s.halve(all)
	switch {
	case split != "":
		return s.oneAtATime(all, split)
	case step != nil:
		return step, "", fmt.Sprintf("it is one of %s", strings.Join(suspects, ", "))
	}
	return s.confirm(all, suspects[0])
}

type search struct {
	devices []string
	takes   map[string]SearchTake
}

func newSearch(devices []string, history []SearchTake) *search {
	s := &search{takes: map[string]SearchTake{}}
	for _, d := range devices {
		if !slices.Contains(s.devices, d) {
			s.devices = append(s.devices, d)
		}
	}
	for _, t := range history {
		known := !slices.ContainsFunc(t.On, func(d string) bool { return !slices.Contains(s.devices, d) })
		if known && t.RMS.Value >= 0 && !math.IsInf(t.RMS.Value, 0) {
			s.takes[s.key(t.On)] = t
		}
	}
	return s
}

// key names a set of devices, in the chain's order.
func (s *search) key(on []string) string { return strings.Join(s.ordered(on), "\x00") }

func (s *search) ordered(on []string) []string {
	var out []string
	for _, d := range s.devices {
		if slices.Contains(on, d) {
			out = append(out, d)
		}
	}
	return out
}

func (s *search) without(off ...string) []string {
	var out []string
	for _, d := range s.devices {
		if !slices.Contains(off, d) {
			out = append(out, d)
		}
	}
	return out
}

func (s *search) level(on []string) (SearchTake, bool) {
	t, ok := s.takes[s.key(on)]
	return t, ok
}

// below is how far t is under all, in dB; a bound counts as quiet as it may be.
func below(t, all SearchTake) float64 {
	return analysis.DB(math.Max(t.RMS.Value, 1e-6*all.RMS.Value) / all.RMS.Value)
}

// halve follows the halves that were measured. It returns the devices that
// are left, and the next half to measure; split says why halving failed.
func (s *search) halve(all SearchTake) (suspects []string, step *SearchStep, split string) {
	suspects = s.devices
	for len(suspects) > 1 {
		half, rest := suspects[:(len(suspects)+1)/2], suspects[(len(suspects)+1)/2:]
		t, ok := s.level(half)
		if !ok {
			return suspects, &SearchStep{half, fmt.Sprintf("whether it is in this half of the %d that are left", len(suspects))}, ""
		}
		db := below(t, all)
		switch {
		case db >= holdsDB:
			suspects = half
		case db <= quietDB || t.UpperBound && db < holdsDB:
			suspects = rest
		default:
			return suspects, nil, fmt.Sprintf("with only %s on it is %.1f dB quieter than with all: more than one device has a part in it", strings.Join(half, ", "), -db)
		}
	}
	return suspects, nil, ""
}

// confirm turns the culprit alone off.
func (s *search) confirm(all SearchTake, culprit string) (*SearchStep, string, string) {
	others := s.without(culprit)
	t, ok := s.level(others)
	if !ok {
		return &SearchStep{others, fmt.Sprintf("whether it goes when %s alone is off", culprit)}, "", fmt.Sprintf("it looks like %s", culprit)
	}
	db := below(t, all)
	if db > quietDB {
		return s.oneAtATime(all, fmt.Sprintf("with %s alone off it is still there (%+.1f dB)", culprit, db))
	}
	word := fmt.Sprintf("%.1f dB quieter", -db)
	if t.UpperBound {
		word = "under the noise, " + word + " or more"
	}
	alone, ok := s.level([]string{culprit})
	if !ok {
		return &SearchStep{[]string{culprit}, fmt.Sprintf("whether %s brings it by itself", culprit)}, "", fmt.Sprintf("it goes when %s is off", culprit)
	}
	if below(alone, all) <= quietDB {
		return s.together(all, fmt.Sprintf("it goes when %s is off, which by itself does not bring it", culprit))
	}
	return nil, culprit, fmt.Sprintf("%s: with it alone off the rest is %s", culprit, word)
}

// oneAtATime measures with nothing on and with each device alone, and says
// who has how much part in it.
func (s *search) oneAtATime(all SearchTake, why string) (*SearchStep, string, string) {
	none, ok := s.level(nil)
	if !ok {
		return &SearchStep{[]string{}, "whether it is there with every device off"}, "", why
	}
	if db := below(none, all); db >= holdsDB && !none.UpperBound {
		return nil, "", fmt.Sprintf("%s; with every device off it is as loud (%+.1f dB): it is none of them", why, db)
	}
	type part struct {
		device string
		db     float64
	}
	var parts []part
	for _, d := range s.devices {
		t, ok := s.level([]string{d})
		if !ok {
			return &SearchStep{[]string{d}, fmt.Sprintf("what %s brings by itself", d)}, "", why + "; so one at a time"
		}
		parts = append(parts, part{d, below(t, all)})
	}
	slices.SortStableFunc(parts, func(a, b part) int { return cmp.Compare(b.db, a.db) })
	var words []string
	for _, p := range parts {
		if p.db > 2*quietDB {
			words = append(words, fmt.Sprintf("%s (%+.1f dB)", p.device, p.db))
		}
	}
	switch len(words) {
	case 0:
		return s.together(all, why+"; none of them brings it by itself")
	case 2:
		first, second := parts[0].device, parts[1].device
		others := s.without(first, second)
		t, ok := s.level(others)
		if !ok {
			return &SearchStep{others, fmt.Sprintf("whether it goes when both %s and %s are off", first, second)}, "", why
		}
		if db := below(t, all); db <= quietDB {
			return nil, first + " and " + second, fmt.Sprintf("%s and %s, each by itself: %s; with both off the rest is %.1f dB quieter", first, second, strings.Join(words, ", "), -db)
		}
	}
	return nil, "", fmt.Sprintf("%s; no single device: by itself, against all of them, %s", why, strings.Join(words, ", "))
}

// together looks for the devices that bring it only at once: with any of them
// off it goes.
func (s *search) together(all SearchTake, why string) (*SearchStep, string, string) {
	var needed []string
	for _, d := range s.devices {
		t, ok := s.level(s.without(d))
		if !ok {
			return &SearchStep{s.without(d), fmt.Sprintf("whether it goes when %s alone is off", d)}, "", why + "; so each off by itself"
		}
		if below(t, all) <= quietDB {
			needed = append(needed, d)
		}
	}
	names := strings.Join(needed, " and ")
	if len(needed) != 2 {
		return nil, "", fmt.Sprintf("%s; it takes several at once%s", why, map[bool]string{true: ": " + names, false: ""}[len(needed) > 0])
	}
	t, ok := s.level(needed)
	if !ok {
		return &SearchStep{needed, fmt.Sprintf("whether %s bring it with all others off", names)}, "", why
	}
	if db := below(t, all); db < holdsDB {
		return nil, "", fmt.Sprintf("%s; %s act together, but alone they are %.1f dB quieter: others have a part in it", why, names, -db)
	}
	return nil, names, fmt.Sprintf("%s act together: it goes when either is off", names)
}
