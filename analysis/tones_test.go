package analysis

import (
	"math"
	"strings"
	"testing"
)

func TestTonesOffTheCombAreFound(t *testing.T) {
	q := quietRecord{
		rateHz: 48000, lengthS: 5, noiseStd: 1e-5, mainsHz: 49.96, driftHzPerS: 0.003,
		harmonicsRMS: rectifierHum(1e-4, 20), seed: 6,
		tones: []line{
			{freqHz: 12345.67, rms: 2e-4}, {freqHz: 1000.01, rms: 1e-5}, {freqHz: 8000.08, rms: 5e-6},
			{freqHz: 12345.67 + 2*49.96, rms: 3e-6}, {freqHz: 3210.1, rms: 3e-7},
		},
	}
	s := analyse(t, q, SilenceOptions{})
	if len(s.Tones) != len(q.tones) {
		t.Fatalf("%d tones: %+v", len(s.Tones), s.Tones)
	}
	families := []string{"whine of a switching converter", "1 kHz family", "8 kHz family", "mains sideband of 12345.7 Hz", "whine"}
	for i, want := range q.tones {
		got := s.Tones[i]
		within(t, "frequency", got.FrequencyHz, want.freqHz, 4)
		within(t, "level", got.RMS, want.rms, 4)
		if !strings.Contains(got.Family, families[i]) {
			t.Errorf("%.1f Hz is called %q, want %q", want.freqHz, got.Family, families[i])
		}
	}
	within(t, "hiss", s.Hiss[Unweighted], math.Sqrt(q.densityOf()*(NoiseHighHz-NoiseLowHz)), 4)
	total := 0.0
	for _, l := range q.tones {
		total += sq(l.rms)
	}
	for _, a := range q.harmonicsRMS {
		total += sq(a)
	}
	total += q.densityOf() * (NoiseHighHz - NoiseLowHz)
	within(t, "noise in total", s.Noise[Unweighted], math.Sqrt(total), 4)
}

// A family of 500 Hz lines would fit a comb of 50 Hz, but no mains makes it.
func TestAClockIsNotTakenForMains(t *testing.T) {
	q := quietRecord{rateHz: 16000, lengthS: 4, noiseStd: 1e-5, seed: 3, tones: []line{
		{freqHz: 500, rms: 1e-4}, {freqHz: 1000, rms: 8e-5}, {freqHz: 1500, rms: 5e-5}, {freqHz: 2000, rms: 2e-5}}}
	s := analyse(t, q, SilenceOptions{})
	if s.Mains.Found || len(s.Tones) != 4 {
		t.Errorf("mains found: %v, tones: %+v", s.Mains.Found, s.Tones)
	}
}

// Noise that falls with frequency must not make tones of its slope.
func TestSlopingNoiseMakesNoTones(t *testing.T) {
	tones := 0
	const trials = 20
	for i := range trials {
		x := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1e-4, seed: uint64(500 + i)}.make()
		for k := 1; k < len(x); k++ {
			x[k] += 0.995 * x[k-1] // a corner at 6 Hz
		}
		s, err := AnalyseSilence(x, 8000, SilenceOptions{})
		if err != nil {
			t.Fatal(err)
		}
		tones += min(1, len(s.Tones))
		if s.Mains.Found {
			t.Errorf("record %d: %v", i, s.Mains.FrequencyHz)
		}
	}
	if tones > 1 {
		t.Errorf("%d of %d records show tones", tones, trials)
	}
}
