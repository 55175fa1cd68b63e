package analysis

import (
	"math"
	"testing"

	"boardproof/testsignals"
)

// Against the cosine itself: up to the end of the last third octave it is as it
// was, and what would fold into that band is gone.
func TestThinnedKeepsTheBand(t *testing.T) {
	for _, c := range []struct{ rateHz, want float64 }{{44100, 44100}, {48000, 48000}, {88200, 88200}, {96000, 48000}, {176400, 88200}, {192000, 48000}} {
		stride := int(c.rateHz / c.want)
		for hz, height := range map[float64]float64{50: 1, 1000: 1, 12345: 1, 22380: 1, c.want - 22380: 0, c.want + 7000: 0} {
			if height == 0 && stride == 1 {
				continue
			}
			x := make([]float64, int(c.rateHz/10))
			at := func(i int) float64 { return math.Cos(2*math.Pi*hz*float64(i)/c.rateHz + 1) }
			for i := range x {
				x[i] = at(i)
			}
			y, rate := thinned(x, c.rateHz)
			if rate != c.want {
				t.Fatalf("%g Hz became %g Hz, want %g Hz", c.rateHz, rate, c.want)
			}
			late := (len(x) - stride*(len(y)-1) - 1) / 2
			worst := math.Inf(1)
			for shift := max(0, late-stride); shift <= late; shift++ {
				off := 0.0
				for i, v := range y {
					off = math.Max(off, math.Abs(v-height*at(i*stride+shift)))
				}
				worst = math.Min(worst, off)
			}
			if worst > 3e-6 {
				t.Errorf("%g Hz at %g Hz is off by %.2g", hz, c.rateHz, worst)
			}
		}
	}
}

func TestSilenceAtHighRates(t *testing.T) {
	q := quietRecord{rateHz: 192000, lengthS: 2, noiseStd: 2e-5, mainsHz: 50.02, harmonicsRMS: rectifierHum(1e-5, 60),
		tones: []line{{freqHz: 19000, rms: 5e-6}, {freqHz: 29000, rms: 1e-4}}, seed: 6}
	s := analyse(t, q, SilenceOptions{})
	if math.Abs(s.Mains.FrequencyHz.Value-50.02) > 4*s.Mains.FrequencyHz.Std || len(s.Tones) != 1 {
		t.Fatalf("mains %+v, tones %+v", s.Mains.FrequencyHz, s.Tones)
	}
	if h := s.Harmonics[1]; math.Abs(h.RMS.Value-q.harmonicsRMS[1]) > 4*h.RMS.Std {
		t.Errorf("harmonic 2 is %+v, want %g", h.RMS, q.harmonicsRMS[1])
	}
	if tone := s.Tones[0]; math.Abs(tone.RMS.Value-5e-6) > 4*tone.RMS.Std || math.Abs(tone.FrequencyHz.Value-19000) > 4*tone.FrequencyHz.Std {
		t.Errorf("tone %+v", tone)
	}
	want := q.noiseStd * math.Sqrt((NoiseHighHz-NoiseLowHz)/(q.rateHz/2))
	if h := s.Hiss[Unweighted]; math.Abs(h.Value-want) > 4*h.Std {
		t.Errorf("hiss is %.5g ± %.2g, want %.5g", h.Value, h.Std, want)
	}
}

// A tone reads alike at any rate.
func TestToneAtHighRates(t *testing.T) {
	var at48 []Reading
	for _, rateHz := range []int{48000, 192000} {
		rec := recorded(t, testsignals.New(testsignals.Tone, rateHz, -12, 1), 1e-6, 4, gainOf(0.8))
		for i, v := range rec.Samples[0] {
			rec.Samples[0][i] = v + 1e-3*v*v
		}
		res, err := ToneResult(rec)
		if err != nil {
			t.Fatal(err)
		}
		if at48 == nil {
			at48 = res.Readings
			continue
		}
		if len(res.Readings) != len(at48) || len(at48) < 3 {
			t.Fatalf("%+v\n%+v", at48, res.Readings)
		}
		for i, r := range res.Readings {
			if off := math.Abs(r.Value - at48[i].Value); off > 2*Hypot(r.Uncertainty, at48[i].Uncertainty)+1e-5*math.Abs(r.Value) || r.Quantity != at48[i].Quantity {
				t.Errorf("%s at %d Hz is %.7g ± %.2g, at 48 kHz %.7g ± %.2g", r.Quantity, rateHz, r.Value, r.Uncertainty, at48[i].Value, at48[i].Uncertainty)
			}
		}
	}
}
