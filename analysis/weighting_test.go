package analysis

import (
	"math"
	"testing"
)

// IEC 61672-1:2013, Table 3 (from memory; agrees with the standard's closed
// form to its rounding), at nominal frequencies.
var tableA = map[float64]float64{
	10: -70.4, 12.5: -63.4, 16: -56.7, 20: -50.5, 25: -44.7, 31.5: -39.4, 40: -34.6, 50: -30.2,
	63: -26.2, 80: -22.5, 100: -19.1, 125: -16.1, 160: -13.4, 200: -10.9, 250: -8.6, 315: -6.6,
	400: -4.8, 500: -3.2, 630: -1.9, 800: -0.8, 1000: 0, 1250: 0.6, 1600: 1.0, 2000: 1.2,
	2500: 1.3, 3150: 1.2, 4000: 1.0, 5000: 0.5, 6300: -0.1, 8000: -1.1, 10000: -2.5,
	12500: -4.3, 16000: -6.6, 20000: -9.3,
}

// Recommendation ITU-R BS.468-4, Table 1 (from memory; agrees with the common
// rational approximation within 0.1 dB).
var table468 = map[float64]float64{
	31.5: -29.9, 63: -23.9, 100: -19.8, 200: -13.8, 400: -7.8, 800: -1.9, 1000: 0, 2000: 5.6,
	3150: 9.0, 4000: 10.5, 5000: 11.7, 6300: 12.2, 7100: 12.0, 8000: 11.4, 9000: 10.1,
	10000: 8.1, 12500: 0, 14000: -5.3, 16000: -11.7, 20000: -22.2, 31500: -42.7,
}

func TestWeightingsFollowTheirTables(t *testing.T) {
	for _, c := range []struct {
		name  string
		table map[float64]float64
		// exact maps a nominal third-octave frequency to the one the table is for.
		exact     func(float64) float64
		tolerance float64
	}{
		{WeightA, tableA, func(f float64) float64 { return 1000 * math.Pow(10, math.Round(10*math.Log10(f/1000))/10) }, 0.0501},
		{Weight468, table468, func(f float64) float64 { return f }, 0.1},
	} {
		worst := 0.0
		for nominal, want := range c.table {
			got := DB(WeightingGain(c.name, c.exact(nominal)))
			worst = math.Max(worst, math.Abs(got-want))
			if math.Abs(got-want) > c.tolerance {
				t.Errorf("%s at %g Hz: %.3f dB, the table says %.1f", c.name, nominal, got, want)
			}
		}
		t.Logf("%s: worst deviation from the table %.3f dB", c.name, worst)
	}
	if g := WeightingGain("B", 1000); !math.IsNaN(g) {
		t.Errorf("a weighting that is not known gives %g, not NaN", g)
	}
}
