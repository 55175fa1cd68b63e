package analysis

import (
	"math"
	"testing"
)

func TestHumGroupsAddUpToTheHum(t *testing.T) {
	lines := rectifierHum(1e-3, 60)
	q := quietRecord{rateHz: 48000, lengthS: 5, noiseStd: 2e-5, mainsHz: 50.02, harmonicsRMS: lines, seed: 5}
	s := analyse(t, q, SilenceOptions{})
	groups := map[string]func(h int) bool{
		"fundamental": func(h int) bool { return h == 1 },
		"even":        func(h int) bool { return h%2 == 0 && h <= 20 },
		"odd":         func(h int) bool { return h > 1 && h%2 == 1 && h <= 20 },
		"buzz":        func(h int) bool { return h > 20 },
	}
	power := 0.0
	for name, in := range groups {
		truth := 0.0
		for i, v := range lines {
			if in(i + 1) {
				truth = math.Hypot(truth, v)
			}
		}
		g := s.HumGroup(BenchInput{}, in)
		if g.UpperBound || g.FloorLimited {
			t.Errorf("%s is no bound: %+v", name, g)
		}
		within(t, name, g.RMS, truth, 3.5)
		power += sq(g.RMS.Value)
	}
	// The hum has what is smeared around its lines as well, which is little here.
	if d := DB(math.Sqrt(power) / s.Hum.Value); math.Abs(d) > 1e-4 {
		t.Errorf("the groups' powers add up to %g dB over the hum", d)
	}
	for _, h := range s.HighHarmonics {
		if h.Harmonic <= 60 {
			within(t, "high harmonic", h.RMS, lines[h.Harmonic-1], 4)
		}
	}
	if len(s.HighHarmonics) < 10 {
		t.Errorf("%d high harmonics of 20", len(s.HighHarmonics))
	}
}

func TestAGroupUnderTheNoiseOrTheBenchIsABound(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1e-4, mainsHz: 50.02, harmonicsRMS: []float64{1e-3, 0, 5e-4}, seed: 9}
	s := analyse(t, q, SilenceOptions{})
	even := s.HumGroup(BenchInput{}, func(h int) bool { return h%2 == 0 })
	if !even.UpperBound || even.RMS.Value <= 0 || even.RMS.Value > 5e-5 {
		t.Errorf("even harmonics that are not there: %+v", even)
	}
	floor := FloorOf(s)
	first := s.HumGroup(BenchInput{Floor: &floor}, func(h int) bool { return h == 1 })
	if !first.UpperBound || !first.FloorLimited || math.Abs(DB(first.BenchRMS/1e-3)) > 0.1 {
		t.Errorf("the bench's own fundamental: %+v", first)
	}
	q.harmonicsRMS = nil
	none := analyse(t, q, SilenceOptions{}).HumGroup(BenchInput{}, func(h int) bool { return h == 1 })
	if !none.UpperBound || none.RMS.Value <= 0 || none.RMS.Value > 5e-5 {
		t.Errorf("a fundamental that is not there: %+v", none)
	}
}

// A bench that showed one lone line of 300 Hz, read as the sixth of 50 Hz, has it in the
// fifth of a board on 60 Hz and nothing in its sixth.
func TestGroupsTakeTheBenchByFrequency(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1e-5, mainsHz: 60.03, harmonicsRMS: []float64{1e-3, 4e-4, 5e-4, 4e-4, 5e-4, 4e-4}, seed: 3}
	s := analyse(t, q, SilenceOptions{})
	floor := Floor{MainsHz: 50.025, Harmonics: make([]Estimate, 40)}
	floor.Harmonics[5] = Estimate{3e-4, 1e-6}
	bench := BenchInput{Floor: &floor}
	for h, want := range map[int]float64{5: 3e-4, 6: 0} {
		if g := s.HumGroup(bench, func(o int) bool { return o == h }); math.Abs(g.BenchRMS-want) > 1e-9 {
			t.Errorf("group of harmonic %d: the bench's share is %g, want %g", h, g.BenchRMS, want)
		}
		if g := s.HarmonicLevel(s.Harmonics[h-1], bench); math.Abs(g.BenchRMS-want) > 1e-9 {
			t.Errorf("harmonic %d: the bench's share is %g, want %g", h, g.BenchRMS, want)
		}
	}
}
