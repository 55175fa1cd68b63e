package calibration

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/analysis"
)

// 0 dBu is 0.7746 V. A tone of -12 dBFS read as that makes the full scale
// 12 dBu. ±(1 % + 3 digits of 1 mV) is ±10.746 mV, evenly spread: 1.3873 % over
// √3 is 0.0696 dB; half a digit of rounding 0.5 mV likewise (JCGM 100:2008,
// 4.3.7).
func TestOutputFullScale(t *testing.T) {
	m := MeterReading{VoltsRMS: math.Sqrt(0.6), PercentOfReading: 1, DigitsOff: 3, ResolutionV: 1e-3}
	full, err := OutputFullScale(m, -12)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "full scale in dBu", full.DBu, 12, 1e-9)
	if len(full.Budget) != 2 || !full.Budget[0].Rectangular || !full.Budget[1].Rectangular {
		t.Fatalf("budget %+v, want two rectangular contributions", full.Budget)
	}
	near(t, "meter in dB", full.Budget[0].Std, 0.06957, 1e-4)
	near(t, "last digit in dB", full.Budget[1].Std, 0.003237, 1e-5)
	near(t, "together in dB", full.Estimate().Std, math.Hypot(full.Budget[0].Std, full.Budget[1].Std), 1e-12)
	near(t, "its value", full.Estimate().Value, full.DBu, 0)
}

// Each of these was taken for something else, or was never read.
func TestMeterReadingsThatAreRefused(t *testing.T) {
	good := MeterReading{VoltsRMS: 0.7, PercentOfReading: 1}
	for name, change := range map[string]func(m *MeterReading){
		"must be above zero":   func(m *MeterReading) { m.VoltsRMS = 0 },
		"meter reading NaN":    func(m *MeterReading) { m.VoltsRMS = math.NaN() },
		"meter reading +Inf":   func(m *MeterReading) { m.VoltsRMS = math.Inf(1) },
		"must not be negative": func(m *MeterReading) { m.PercentOfReading = -1 },
		"meter accuracy":       func(m *MeterReading) { m.DigitsOff = math.NaN() },
		"which no interface":   func(m *MeterReading) { m.VoltsRMS = 700 }, // millivolts
		"no interface has":     func(m *MeterReading) { m.VoltsRMS = 1e-5 },
	} {
		m := good
		change(&m)
		_, err := OutputFullScale(m, -12)
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%+v: error %v, want %q in it", m, err, name)
		}
	}
	if _, err := OutputFullScale(good, -12); err != nil {
		t.Errorf("the good reading was refused: %v", err)
	}
}

// Absolute level by propagation of distributions (JCGM 101:2008): the meter
// off within its accuracy and rounded to its digit, the lead off each time,
// the loopback and the tone noisy. The level is found as the product finds it:
// full scale from the meter, less the loopback's gain, and the tone in dBFS.
func TestMonteCarloOfAbsoluteLevel(t *testing.T) {
	const draws, loopNoiseDB, toneNoiseDB, gainDB, toneDBFS = 100000, 0.002, 0.004, -1.5, -20.0
	rng := rand.New(rand.NewPCG(8, 9))
	trueFull, trueV := 10.0, analysis.VoltsFromDBu(10-12)
	for _, percent := range []float64{0.05, 0.5, 2} {
		m := MeterReading{PercentOfReading: percent, DigitsOff: 2, ResolutionV: 1e-4}
		inside, sum := 0, 0.0
		var budget analysis.Budget
		for range draws {
			limit := percent/100*trueV + m.DigitsOff*m.ResolutionV
			m.VoltsRMS = math.Round((trueV+limit*(2*rng.Float64()-1))/m.ResolutionV) * m.ResolutionV
			full, err := OutputFullScale(m, -12)
			if err != nil {
				t.Fatal(err)
			}
			budget = append(full.Budget,
				analysis.Contribution{Source: sourceLoopPlug, Kind: "B", Std: analysis.DBFromRelative(loopbackStd)},
				analysis.Contribution{Source: sourceLoopNoise, Kind: "B", Std: loopNoiseDB},
				analysis.Contribution{Source: "noise", Kind: "A", Std: toneNoiseDB})
			loop := gainDB + analysis.DB(1+loopbackStd*rng.NormFloat64()) + loopNoiseDB*rng.NormFloat64()
			level := full.DBu - loop + toneDBFS + toneNoiseDB*rng.NormFloat64()
			off := level - (trueFull - gainDB + toneDBFS)
			sum += off * off
			if math.Abs(off) <= budget.Expanded() {
				inside++
			}
		}
		spread := math.Sqrt(sum / draws)
		t.Logf("meter of %g %%: budget %.5f dB, drawn %.5f dB, %.2f %% inside", percent, budget.Std(), spread, 100*float64(inside)/draws)
		if math.Abs(budget.Std()/spread-1) > 0.02 {
			t.Errorf("meter of %g %%: the budget states %.5f dB, the draws spread by %.5f dB", percent, budget.Std(), spread)
		}
		// 100,000 draws tell a share of 0.9545 to 0.0007; two rectangular
		// contributions make the interval a little too wide.
		if share := float64(inside) / draws; share < 0.9545-0.003 || share > 0.9545+0.005 {
			t.Errorf("meter of %g %%: the interval holds %.4f, want 0.9545", percent, share)
		}
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.8g, want %.8g within %.2g", what, got, want, within)
	}
}
