package analysis

import (
	"math"
	"strings"
	"testing"
)

// A silence that is not steady says so, and its interval holds what it is for
// most of the time; one that is steady does not, whatever its spectrum.
func TestUnsteadySilenceIsOwnedUpTo(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 6, noiseStd: 1e-4, mainsHz: 50.02, harmonicsRMS: rectifierHum(7e-4, 15), seed: 9}
	quiet := q
	quiet.harmonicsRMS = nil
	steadyDBu := DBu(math.Sqrt(q.densityOf() * (NoiseHighHz - NoiseLowHz)))
	half := func(i int) bool { return i >= 3*48000 }
	for _, c := range []struct {
		name    string
		q       quietRecord
		do      func(x []float64, i int) float64
		hissDBu float64 // to be held
		note    bool    // on the hiss
		hum     bool    // note on the hum
	}{
		{"steady", q, func(x []float64, i int) float64 { return x[i] }, steadyDBu, false, false},
		{"sloping", quiet, func(x []float64, i int) float64 {
			if i > 0 {
				x[i] += 0.999 * x[i-1]
			}
			return x[i]
		}, math.NaN(), false, false},
		{"gate", quiet, func(x []float64, i int) float64 {
			if half(i) {
				return x[i] * 0.03
			}
			return x[i]
		}, steadyDBu, true, true},
		{"gain rising by 6 dB", quiet, func(x []float64, i int) float64 {
			return x[i] * math.Pow(10, 6*(float64(i)/288000-0.5)/20)
		}, steadyDBu + 2.7, true, true},
		{"click", q, func(x []float64, i int) float64 {
			if i == 100000 {
				return 0.3
			}
			return x[i]
		}, steadyDBu, true, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := c.q.make()
			for i := range x {
				x[i] = c.do(x, i)
			}
			s, err := AnalyseSilence(x, c.q.rateHz, SilenceOptions{})
			if err != nil {
				t.Fatal(err)
			}
			res := SilenceResult(s, "A", "", BenchInput{})
			for _, r := range res.Readings {
				switch {
				case r.Quantity == Hiss && r.Weighting == Unweighted:
					t.Logf("hiss %.2f ± %.2f dBu, for %.2f: %s", r.Value, r.Uncertainty, c.hissDBu, r.Note)
					if math.Abs(r.Value-c.hissDBu) > r.Uncertainty || strings.Contains(r.Note, "not steady") != c.note {
						t.Errorf("hiss %.2f ± %.2f dBu for %.2f: %q", r.Value, r.Uncertainty, c.hissDBu, r.Note)
					}
				case r.Quantity == Noise && strings.Contains(r.Note, "not steady") != c.note:
					t.Errorf("noise, weighting %s: %q", r.Weighting, r.Note)
				case r.Quantity == Hum && strings.Contains(r.Note, "not steady") != c.hum:
					t.Errorf("hum: %q", r.Note)
				}
			}
		})
	}
}

// Hum that is there half the time leaves bursts which no steady sine fits.
func TestHumInHalfTheSilenceHasNoValueThatIsNoNumber(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 10, noiseStd: 1e-4, mainsHz: 50.02, harmonicsRMS: rectifierHum(7e-4, 15), seed: 5}
	x := q.make()
	q.harmonicsRMS, q.noiseStd, q.seed = nil, 3e-5, 6
	for i, v := range q.make() {
		if i >= len(x)/2 {
			x[i] = 0
		}
		x[i] += v
	}
	s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
	if err != nil {
		t.Fatal(err)
	}
	res := SilenceResult(s, "A", "", BenchInput{})
	for _, r := range res.Refused {
		t.Errorf("%s is refused: %s", r.Quantity, r.Reason)
	}
	for _, tone := range s.Tones {
		if tone.RMS.Value <= combLevel*tone.RMS.Std {
			t.Errorf("a tone within its own uncertainty: %v", tone)
		}
	}
	for _, r := range res.Readings {
		if r.Quantity == Hum && !strings.Contains(r.Note, "not steady") {
			t.Errorf("hum: %q", r.Note)
		}
	}
}

func TestASilenceThatStandsStillIsRefused(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 2, noiseStd: 1e-4, seed: 2}
	for name, zero := range map[string]func(i int) bool{
		"half": func(i int) bool { return i > 48000 }, "all but 20 ms": func(i int) bool { return i > 960 },
		"10 ms": func(i int) bool { return i > 30000 && i < 30480 },
	} {
		x := q.make()
		for i := range x {
			if zero(i) {
				x[i] = 0
			}
		}
		s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
		if err != nil || !strings.Contains(s.Reason, "stand still") {
			t.Errorf("%s: %v, %q", name, err, s.Reason)
		}
	}
	// A converter that hardly sees the noise stands still by itself.
	x := q.make()
	const step = 5e-4
	for i, v := range x {
		x[i] = step * math.Round(v/step)
	}
	if s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{}); err != nil || s.Reason != "" {
		t.Errorf("noise under the converter's step: %v, %q", err, s.Reason)
	}
}

// However sure of the lines a record is, a weighting is no better than its
// definition.
func TestWeightedLevelsAreNoBetterThanTheCurve(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 5, noiseStd: 1e-6, mainsHz: 50, harmonicsRMS: []float64{0.1}, seed: 4}
	res := SilenceResult(analyse(t, q, SilenceOptions{}), "A", "", BenchInput{})
	for _, r := range res.Readings {
		if r.Quantity == Noise && r.Weighting != Unweighted && !(r.Uncertainty >= 0.02) {
			t.Errorf("noise under weighting %s is stated to ±%.2g dB", r.Weighting, r.Uncertainty)
		}
	}
	for _, c := range res.Curves {
		if c.Quantity == NoiseDensity && !strings.Contains(c.Note, "3.4 dB under its own level") {
			t.Errorf("note of the density: %q", c.Note)
		}
	}
}
