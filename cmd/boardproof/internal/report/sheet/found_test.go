package sheet

import (
	"testing"

	"boardproof/analysis"
)

// A figure near its limit has every digit, so that nobody reads the limit's own
// figure beside "failed"; one far beyond it has no more than a player needs.
func TestDigitsOfAFailure(t *testing.T) {
	level := topics()[0]
	for value, want := range map[float64]string{-2.0885: "−2.09 dB", -1.5024: "−1.5024 dB", -1.5038: "−1.5038 dB", -1.4976: "−1.4976 dB", 0.6666: "0.67 dB", 0.5054: "+0.5054 dB"} {
		j := judged("path", analysis.Gain, "A", value, 0.0035, limit(-1.5, 0.5))
		if got := level.figure(j); got != want {
			t.Errorf("%g, %s: %q, want %q", value, j.Verdict, got, want)
		}
	}
}
