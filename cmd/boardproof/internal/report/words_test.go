package report

import (
	"testing"

	"boardproof/analysis"
)

func TestWhat(t *testing.T) {
	tests := []struct {
		in   analysis.Reading
		want string
	}{
		{analysis.Reading{Quantity: "gain", Output: "A", FrequencyHz: 1000}, "gain, output A"},
		{analysis.Reading{Quantity: "gain", Output: "A", FrequencyHz: 400}, "gain, output A at 400 Hz"},
		{analysis.Reading{Quantity: "level_match", Output: "B", Reference: "A", FrequencyHz: 1000}, "level match B against A"},
		{analysis.Reading{Quantity: "worst_level_match", Output: "B", Reference: "A", FrequencyHz: 19953}, "worst level match B against A at 20 kHz"},
		{analysis.Reading{Quantity: "polarity_match", Output: "B", Reference: "A"}, "polarity match B against A"},
		{analysis.Reading{Quantity: "noise", Output: "A", Weighting: "A"}, "noise A-weighted, output A"},
		{analysis.Reading{Quantity: "noise", Output: "A", Weighting: "none"}, "noise unweighted, output A"},
		{analysis.Reading{Quantity: "hiss", Output: "B", Weighting: "468"}, "hiss ITU-R 468 RMS, output B"},
		{analysis.Reading{Quantity: "hum_harmonic", Output: "B", Harmonic: 3, FrequencyHz: 150.0123}, "hum harmonic 3 (150 Hz), output B"},
		{analysis.Reading{Quantity: "hum_harmonic", Output: "A"}, "hum harmonics, output A"},
		{analysis.Reading{Quantity: "other_tone", Output: "A"}, "other tones, output A"},
		{analysis.Reading{Quantity: "hiss", Output: "A"}, "hiss, output A"},
		{analysis.Reading{Quantity: "hum_harmonic", Harmonic: 2}, "hum harmonic 2"},
		{analysis.Reading{Quantity: "other_tone", Output: "A", FrequencyHz: 8333.3}, "tone at 8.33 kHz, output A"},
		{analysis.Reading{Quantity: "low_corner", Output: "A"}, "low corner (−3 dB), output A"},
		{analysis.Reading{Quantity: "mains_frequency", Output: "A", FrequencyHz: 50}, "mains frequency, output A"},
		{analysis.Reading{Quantity: "thd_n", Output: "A", FrequencyHz: 1000}, "THD+N, output A"},
		{analysis.Reading{Quantity: "some_new_one", Output: "A"}, "some new one, output A"},
		{analysis.Reading{Quantity: "gain", Output: "A\x1b[31m\nB"}, "gain, output A[31m B"},
	}
	for _, tt := range tests {
		if got := What(tt.in); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

func TestCount(t *testing.T) {
	for n, want := range map[int]string{0: "0 years", 1: "1 year", 2: "2 years"} {
		if got := Count(n, "year"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
