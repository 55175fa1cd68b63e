package analysis

import (
	"math"
	"testing"

	"boardproof/testsignals"
)

// 0 dBu is √0.6 V RMS: what is 1.0 in the samples and 3.1 V at the input is a
// sine of 3.1/√2 V RMS. The gain is that of the samples over those played.
func TestToneLevelAndGainInClosedForm(t *testing.T) {
	const volts, gain = 3.1, 0.8
	rec := recorded(t, testsignals.New(testsignals.Tone, 48000, -12, 1), 1e-7, 4, gainOf(gain))
	rec.Bench = []BenchInput{{VoltsPerUnit: volts}}
	res, err := ToneResult(rec)
	if err != nil {
		t.Fatal(err)
	}
	amplitude := math.Pow(10, -12.0/20) * gain
	want := map[string]float64{
		Level: 20 * math.Log10(volts*amplitude/math.Sqrt2/math.Sqrt(0.6)),
		Gain:  20 * math.Log10(gain),
	}
	for _, r := range res.Readings {
		if w, ok := want[r.Quantity]; ok {
			if math.Abs(r.Value-w) > 1e-4 {
				t.Errorf("%s is %.6f, want %.6f", r.Quantity, r.Value, w)
			}
			delete(want, r.Quantity)
		}
	}
	if len(want) > 0 {
		t.Errorf("not read: %v", want)
	}
}
