package change

import (
	"math"
	"strings"
	"testing"
)

// A second-order low-pass at 8 kHz loses treble: 10·log10(1+(f/fc)^4) for a
// Butterworth (any textbook), 5.4 dB at 10 kHz. A comb is no loss of treble.
func TestTrebleLossOfAnyOrderHasWords(t *testing.T) {
	c := CurveChange{WorstHz: 10000}
	c.Output = "A"
	for f := 20.0; f < 20000; f *= 1.05 {
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Difference = append(c.Difference, -10*math.Log10(1+math.Pow(f/8000, 4)))
	}
	if f := irregular(c, parts{}); !strings.Contains(f.What, "of treble at 10 kHz, not as one resistor and one capacitor") || !strings.Contains(f.What, "lost 5.") && !strings.Contains(f.What, "has lost 5.") && !strings.Contains(f.What, "loses 5.") {
		t.Errorf("it says %q, %q", f.What, f.Like)
	}
	for i, f := range c.FrequencyHz {
		c.Difference[i] = 2 * math.Cos(2*math.Pi*f/1000)
	}
	if f := irregular(c, parts{}); strings.Contains(f.What, "of treble") && strings.Contains(f.What, "of bass") {
		t.Errorf("of a comb it says %q", f.What)
	}
}
