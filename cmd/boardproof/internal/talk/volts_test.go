package talk

import (
	"math"
	"strings"
	"testing"
)

// SI 9.1 (BIPM brochure): m is 1e-3, µ is 1e-6.
func TestVoltagesAsWritten(t *testing.T) {
	for text, want := range map[string]float64{
		"0.775": 0.775, "0,775": 0.775, "0.775 V": 0.775, ".811v": 0.811, "811 mV": 0.811, "811mV": 0.811, "811,5 mV AC": 0.8115,
		"811 mV RMS": 0.811, "8.11e-1": 0.811, "811000 µV": 0.811, "811000uV": 0.811, "0.811 V~": 0.811, "811 m": 0.811,
	} {
		if got, err := readVolts(text); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q is %g V, %v; want %g", text, got, err, want)
		}
	}
	for _, text := range []string{"-3", "0", "", "abc", "811 mA", "1.2.3", "NaN", "inf", "3 dBu", "0 mV", "-811 mV"} {
		if got, err := readVolts(text); err == nil || !strings.Contains(err.Error(), "is no voltage that a meter shows of this tone: write a figure above zero, as in 0.775 or 775 mV") {
			t.Errorf("%q is %g V, %v", text, got, err)
		}
	}
}
