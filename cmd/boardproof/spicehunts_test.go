package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture/wavfile"
	"boardproof/capture/wavtake"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
)

const (
	// spiceS is the length of a silence, spiceEdgeS is left out at each end of
	// what is computed.
	spiceS, spiceEdgeS = 4.0, 0.2
	// spiceHissV is the hiss at each output, RMS volts in each sample.
	spiceHissV = 30e-6
	// mostSilences are in a hunt that follows its own proposals.
	mostSilences = 10
)

// spiceListed are the conditions of a hunt whose recordings were made first.
var spiceListed = []hunt.Condition{
	{Change: hunt.OutputUnplugged, Subject: "B"}, {Change: hunt.OutputIsolated, Subject: "B"}, {Change: hunt.OutputUnplugged, Subject: "A"},
	{Change: hunt.InputShorted}, {Change: hunt.SupplyOff}, {Change: hunt.OnBattery, Subject: "drive"}, {Change: hunt.BoardTurned},
	{Change: hunt.LaptopOnBattery}, {Change: hunt.LightsOff},
}

// recorded is what the recorder has of a case under a condition, in volts; nth
// says which of the records of the mains it is under.
func (c spiceCase) recorded(t *testing.T, w *waves, at hunt.Condition, nth int) [2][]float64 {
	parts := map[string]string{}
	for _, from := range []map[string]string{usualParts, c.parts} {
		for k, v := range from {
			parts[k] = v
		}
	}
	now, factor := under(at, parts)
	rng := rand.New(rand.NewPCG(uint64(nth), uint64(len(c.name))))
	phase, amp := realMains(t, nth, 0.5*float64(nth%20), spiceS+2*spiceEdgeS)
	var out [2][]float64
	hiss := spiceHissV
	if now["pass"] != "1" {
		hiss /= 3
	}
	for i := range out {
		out[i] = make([]float64, int(spiceS*spiceRate))
		for k := range out[i] {
			out[i][k] = hiss * rng.NormFloat64()
		}
	}
	sources := slices.Clone(c.sources)
	if !slices.ContainsFunc(sources, func(s spiceSource) bool { return s.name == "vown" }) {
		sources = append(sources, spiceSource{"vown", "mains", -108}) // no recorder is without
	}
	for _, s := range sources {
		by, changed := factor[s.name]
		if !changed {
			by = 1
		}
		if by == 0 || s.wave == "dimmer" && at.Change == hunt.LightsOff {
			continue
		}
		wave := w.of(s.wave, phase, amp, rng)
		f, a, b := transfers(t, parts, s.name)
		found := math.Max(rms(middle(through(wave, f, a), spiceEdgeS)), rms(middle(through(wave, f, b), spiceEdgeS)))
		scale := by * math.Sqrt(0.6) * math.Pow(10, s.dBu/20) / found
		f, a, b = transfers(t, now, s.name)
		for i, h := range [][]complex128{a, b} {
			for k, v := range middle(through(wave, f, h), spiceEdgeS) {
				if k < len(out[i]) {
					out[i][k] += scale * v
				}
			}
		}
	}
	return out
}

// spiceFile writes what is recorded to a file of 24 bits.
func (c spiceCase) file(t *testing.T, w *waves, at hunt.Condition, nth int) string {
	x := c.recorded(t, w, at, nth)
	full := calibration.VoltsPerUnit(fullScaleDBu)
	samples := make([][]float64, 2)
	for i := range x {
		samples[i] = make([]float64, len(x[i]))
		for k, v := range x[i] {
			samples[i][k] = v / full
		}
	}
	path := filepath.Join(wavDir(t), fmt.Sprintf("%d.wav", nth))
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: spiceRate, Encoding: wavfile.Float32, Samples: samples}); err != nil {
		t.Fatal(err)
	}
	return path
}

// spiceHunt is a hunt in a circuit. SPICE_READINGS names a folder that keeps
// its readings, for whoever changes only what they are taken to mean.
type spiceHunt struct {
	c    spiceCase
	w    *waves
	kept string
	hunt *procedure.Hunt
}

func (s *spiceHunt) try(t *testing.T, at hunt.Condition) {
	nth := len(s.hunt.Done)
	kept := filepath.Join(s.kept, strings.Map(func(r rune) rune {
		if r == ' ' || r == '\'' || r == ',' {
			return '-'
		}
		return r
	}, s.c.name+"-"+at.String())+".json")
	if s.kept != "" {
		if b, err := os.ReadFile(kept); err == nil {
			var r []hunt.Reading
			if err := json.Unmarshal(b, &r); err != nil {
				t.Fatal(err)
			}
			s.hunt.Done = append(s.hunt.Done, procedure.HuntTake{Condition: at, Readings: r})
			return
		}
		nth = int(hashOf(kept) % 1000)
	}
	file, err := wavtake.Open(s.c.file(t, s.w, at, nth))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.hunt.AddRecorded(t.Context(), file, at, calibration.VoltsPerUnit(fullScaleDBu)); err != nil {
		t.Fatalf("%s, %s: %v", s.c.name, at, err)
	}
	if s.kept != "" {
		b, err := json.Marshal(s.hunt.Done[len(s.hunt.Done)-1].Readings)
		if err == nil {
			err = os.WriteFile(kept, b, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func hashOf(text string) uint64 {
	h := uint64(14695981039346656037)
	for _, b := range []byte(text) {
		h = (h ^ uint64(b)) * 1099511628211
	}
	return h
}

func newSpiceHunt(c spiceCase, w *waves) *spiceHunt {
	patch := []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}
	return &spiceHunt{c: c, w: w, kept: os.Getenv("SPICE_READINGS"), hunt: &procedure.Hunt{Sitting: &procedure.Sitting{Patching: patch, Person: talk.Nobody{}, Now: time.Now}, Board: hunt.Board{
		Outputs: []string{"A", "B"}, Devices: spiceDevices, Battery: true, LaptopBattery: true, Isolator: true}}}
}

// led hunts by the proposals.
func (s *spiceHunt) led(t *testing.T) hunt.Finding {
	for s.try(t, hunt.AsFound); len(s.hunt.Done) < mostSilences; {
		next := procedure.Follow(s.hunt)
		if next.End {
			break
		}
		s.try(t, next.Condition)
	}
	return hunt.Find(s.hunt.Board, s.hunt.Readings())
}

// listed hunts by a list.
func (s *spiceHunt) listed(t *testing.T) hunt.Finding {
	for _, at := range append([]hunt.Condition{hunt.AsFound}, spiceListed...) {
		s.try(t, at)
	}
	return hunt.Find(s.hunt.Board, s.hunt.Readings())
}

// spiceOutcome is how a hunt ended against what is true.
type spiceOutcome struct{ right, sure, both bool }

func (c spiceCase) outcome(f hunt.Finding) spiceOutcome {
	causes := f.Weighing.Causes
	o := spiceOutcome{sure: f.Decided, right: slices.Contains(c.truth, causes[0].Cause)}
	var named []string
	for _, x := range causes {
		if x.Present > 0.5 {
			named = append(named, x.Cause)
		}
	}
	o.both = !slices.ContainsFunc(c.truth, func(name string) bool { return !slices.Contains(named, name) })
	return o
}

// TestSpiceHunts hunts in a few circuits; with SPICE_HUNTS=all in all, or with
// a part of their names in those, and prints the table ('make spicehunts').
func TestSpiceHunts(t *testing.T) {
	if testing.Short() {
		t.Skip("ngspice computes for some time")
	}
	needNgspice(t)
	w := newWaves(t)
	few := []string{"amplifier B's earth, isolated split", "ripple in all devices", "hiss only"}
	var table strings.Builder
	which := os.Getenv("SPICE_HUNTS")
	all, tally := which != "", map[string]map[string]int{"led": {}, "listed": {}}
	for _, c := range spiceCases {
		if !all && !slices.Contains(few, c.name) || all && which != "all" && !strings.Contains(c.name, which) {
			continue
		}
		for _, how := range []string{"led", "listed"} {
			s := newSpiceHunt(c, w)
			var f hunt.Finding
			if how == "led" {
				f = s.led(t)
			} else if all {
				f = s.listed(t)
			} else {
				continue
			}
			o := c.outcome(f)
			word := map[bool]string{true: "right", false: "WRONG"}[o.right]
			if !o.sure {
				word = "undecided, " + word
			}
			if !o.both {
				word += ", one of two"
			}
			tally[how][word]++
			if all {
				t.Logf("%s, %s: %s", c.name, how, word) // a long run shows how far it is
			}
			var stand []string
			for _, x := range f.Weighing.Causes {
				if x.Present > 0.1 {
					stand = append(stand, fmt.Sprintf("%s %.2f/%.2f", x.Cause, x.Score, x.Present))
				}
			}
			stand = append(stand, strings.ReplaceAll(fmt.Sprint(s.hunt.Tried()), "output ", ""))
			fmt.Fprintf(&table, "%-42s %-7s %2d  %-28s %s\n      %s\n", c.name, how, len(s.hunt.Done), word, strings.Join(stand, ", "), f.Text)
			if !o.right || !o.both && !all {
				if !all {
					t.Errorf("%s: %s", c.name, f.Text)
				}
			}
		}
	}
	t.Logf("\n%s%v", table.String(), tally)
}
