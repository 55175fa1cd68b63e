package calibration

import (
	"math"
	"testing"

	"boardproof/analysis"
	"boardproof/capture"
)

// x − c·x³ takes 3/4·c·A² off the fundamental of a sine of amplitude A and
// gives a third harmonic of c·A²/4 (trigonometry): with a third harmonic of
// 0.3 % at full scale the gain falls by 0.9 % times A².
func TestLinearityOfACompressingOutput(t *testing.T) {
	if testing.Short() {
		t.Skip("takes at every level")
	}
	const third = 0.003
	cfg := goodBench(t)
	cfg.Interface.Third = third
	b := newLeadBench(t, cfg)
	inputs := b.inputs()
	var tones []*analysis.Recording
	for _, level := range LinearityLevels {
		tones = append(tones, b.record(LinearityTone(48000, level), capture.Loopback, 0, 1, 2))
	}
	if err := AddLinearity(inputs, tones); err != nil {
		t.Fatal(err)
	}
	gain := func(dBFS float64) float64 { return 1 - 3*third*math.Pow(10, dBFS/10) }
	worst := 0.0
	for _, in := range inputs {
		if len(in.Linearity) != len(LinearityLevels)-1 {
			t.Fatalf("%d steps, want %d", len(in.Linearity), len(LinearityLevels)-1)
		}
		for _, s := range in.Linearity {
			want := analysis.DB(gain(s.LevelDBFS) / gain(LinearityReference))
			z := (s.DeviationDB.Value - want) / s.DeviationDB.Std
			worst = math.Max(worst, math.Abs(z))
			if !(math.Abs(z) < 4) || s.DeviationDB.Std > 1e-3 {
				t.Errorf("input %d at %g dBFS: %.6f ± %.6f dB, want %.6f", in.Channel, s.LevelDBFS, s.DeviationDB.Value, s.DeviationDB.Std, want)
			}
		}
	}
	if first := inputs[0].Linearity[0]; first.DeviationDB.Value > -0.015 {
		t.Errorf("the compression at %g dBFS is not seen: %g dB", first.LevelDBFS, first.DeviationDB.Value)
	}
	t.Logf("worst deviation %.1f standard uncertainties", worst)
	if err := AddLinearity(inputs, tones[2:]); err == nil {
		t.Error("steps were compared with a level that was not recorded")
	}
}
