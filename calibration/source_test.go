package calibration

import (
	"math"
	"testing"

	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

func sourceSilence() testsignals.Spec { return testsignals.New(testsignals.Silence, 48000, -60, 2) }

// A source whose frequency is 1 % off what it says, and whose level is right:
// the full scales of the simulation come out, and by way of the loopback the
// output's.
func TestKnownSource(t *testing.T) {
	cfg := goodBench(t)
	cfg.Interface.Source = simboard.Tone{FrequencyHz: 990.3, VoltsRMS: 1}
	b := newLeadBench(t, cfg)
	k := KnownSource{VoltsRMS: 1, Percent: 0.5, FrequencyHz: 1000}
	rec := b.record(sourceSilence(), capture.KnownSource, 0, 1, 2)
	loop := b.sweep(capture.Loopback, 0, 1, 2)
	for row := range 2 {
		full, err := k.InputFullScale(rec, row)
		if err != nil {
			t.Fatal(err)
		}
		truth := b.sim.Truth()
		near(t, "input's full scale in dBu", full.DBu, truth.InputFullScaleDBu(row+1), 5e-5)
		near(t, "its standard uncertainty", full.Budget.Std(), 8.6859*0.005/math.Sqrt(3), 1e-5)
		in, err := NewInput(row+1, loop, row, FullScale{})
		if err != nil {
			t.Fatal(err)
		}
		output := in.TakeFullScale(full)
		// 75 Ω into 1 MΩ takes 0.65 mdB off.
		near(t, "output's full scale in dBu", output.DBu, truth.OutputFullScaleDBu()-0.00065, 1e-4)
		near(t, "what the input states", in.FullScaleDBu.Value, full.DBu, 0)
		if output.Budget.Std() <= full.Budget.Std() {
			t.Error("the output's full scale is not less certain than the input's")
		}
	}
}

// Nothing at the inputs, or a source of another frequency, is no source.
func TestNoKnownSource(t *testing.T) {
	b := newLeadBench(t, goodBench(t))
	cfg := goodBench(t)
	cfg.Interface.Source = simboard.Tone{FrequencyHz: 1010, VoltsRMS: 1e-6}
	quiet := newLeadBench(t, cfg)
	k := KnownSource{VoltsRMS: 1, Percent: 1, FrequencyHz: 1000}
	for name, rec := range map[string]func() (FullScale, error){
		"terminated": func() (FullScale, error) {
			return k.InputFullScale(b.record(sourceSilence(), capture.Terminated, 0, 1), 0)
		},
		// -118 dBu in noise of -105 dBu over 20 kHz: over 1.7 s it is known to 2 or 3 %.
		"too quiet": func() (FullScale, error) {
			return KnownSource{VoltsRMS: 1e-6, FrequencyHz: 1010}.InputFullScale(quiet.record(sourceSilence(), capture.KnownSource, 0, 1), 0)
		},
		"another frequency": func() (FullScale, error) {
			k.FrequencyHz = 2000
			return k.InputFullScale(b.record(sourceSilence(), capture.KnownSource, 0, 1), 0)
		},
	} {
		if full, err := rec(); err == nil {
			t.Errorf("%s: full scale of %g dBu", name, full.DBu)
		}
	}
	for _, bad := range []KnownSource{{VoltsRMS: 0, FrequencyHz: 1000}, {VoltsRMS: math.NaN(), FrequencyHz: 1000}, {VoltsRMS: 1, Percent: -1, FrequencyHz: 1000},
		{VoltsRMS: 1, FrequencyHz: 10}, {VoltsRMS: 1, FrequencyHz: 30e3}} {
		if bad.Check(48000) == nil {
			t.Errorf("%+v is allowed", bad)
		}
	}
}
