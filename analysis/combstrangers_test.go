package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// pickUp is magnetic pick-up as seen at a bench, and clockLines what was beside
// it: 20 lines of a clock of 1 kHz, by RMS volts.
func pickUp() []float64 {
	lines := make([]float64, 40)
	for h, dbv := range map[int]float64{1: -82.4, 3: -96.9, 5: -97.5, 7: -101.2, 9: -107.9, 11: -111.1, 13: -113.8, 15: -107.1, 17: -109.6,
		19: -107.3, 21: -112.1, 23: -108.1, 25: -115.4, 27: -104.9, 29: -113.7, 31: -115.6, 33: -112.5, 35: -114.2, 37: -108, 39: -121.5} {
		lines[h-1] = math.Pow(10, dbv/20)
	}
	return lines
}

func clockLines(hz float64) []line {
	var lines []line
	for i, dbv := range []float64{-80.4, -88.1, -99.6, -91.7, -99.3, -99.9, -96.7, -110.2, -100.7, -100.7,
		-124.8, -101.7, -104.9, -111.5, -103, -110.4, -108.3, -104.9, -121, -117} {
		lines = append(lines, line{freqHz: float64(i+1) * hz, rms: math.Pow(10, dbv/20)})
	}
	return lines
}

func TestMainsIsFoundBesideAClock(t *testing.T) {
	if testing.Short() {
		t.Skip("many records")
	}
	for i, mainsHz := range []float64{60.0687, 47.3, 49.98, 50, 50.02, 51.9, 57, 58.824, 60, 62.3} {
		for k, nominal := range []float64{0, 50 + 10*math.Round((mainsHz-50)/12)} {
			if k != i%2 {
				continue // each mains frequency once, with its nominal one told or not
			}
			t.Run(fmt.Sprintf("%g Hz of %g", mainsHz, nominal), func(t *testing.T) {
				q := quietRecord{rateHz: 48000, lengthS: 3, noiseStd: 3e-6, mainsHz: mainsHz, harmonicsRMS: pickUp(), tones: clockLines(1000.01), seed: uint64(i)}
				s := analyse(t, q, SilenceOptions{NominalMainsHz: nominal})
				if !s.Mains.Found {
					t.Fatalf("%s; tones %+v", s.Mains.Reason, s.Tones)
				}
				within(t, "mains frequency", s.Mains.FrequencyHz, mainsHz, 4)
				for h, x := range s.Harmonics {
					if !x.UpperBound {
						within(t, fmt.Sprintf("harmonic %d", h+1), x.RMS, q.harmonicsRMS[h], 4.5)
					}
				}
				for _, tone := range s.Tones {
					if n := math.Round(tone.FrequencyHz.Value / 1000.01); math.Abs(tone.FrequencyHz.Value-n*1000.01) > 0.1 {
						t.Errorf("%.2f Hz is no line of the clock", tone.FrequencyHz.Value)
					}
				}
				for _, k := range []int{0, 1, 3} {
					if !hasToneAt(s.Tones, q.tones[k], 0.05) {
						t.Errorf("the clock's line at %.2f Hz is not among the tones", q.tones[k].freqHz)
					}
				}
			})
		}
	}
}

func hasToneAt(tones []Tone, want line, share float64) bool {
	for _, tone := range tones {
		if math.Abs(tone.FrequencyHz.Value-want.freqHz) < 0.1 && math.Abs(tone.RMS.Value/want.rms-1) < share {
			return true
		}
	}
	return false
}

// Where the 20th harmonic lies on the clock's line neither can be told.
func TestALineUnderAClockIsBounded(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 3, noiseStd: 3e-6, mainsHz: 50, harmonicsRMS: pickUp(), tones: clockLines(1000.01), seed: 3}
	q.harmonicsRMS[19] = 1e-6
	s := analyse(t, q, SilenceOptions{})
	if h := s.Harmonics[19]; !h.UpperBound || h.Note != heldNote || h.RMS.Value < q.harmonicsRMS[19] || h.RMS.Value > 1.2*(q.tones[0].rms+1e-6) {
		t.Errorf("the 20th harmonic is %+v", h)
	}
	want := 0.0
	for _, v := range q.harmonicsRMS {
		want += sq(v)
	}
	within(t, "hum", s.Hum, math.Sqrt(want), 4)
}

// What a clock hides of the comb may be as much as the harmonics beside it.
func TestHumUnderAClockIsUncertain(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 3, noiseStd: 3e-6, mainsHz: 50, harmonicsRMS: make([]float64, 30), tones: clockLines(1000.01)[:1], seed: 3}
	for h := 10; h <= 30; h += 2 {
		q.harmonicsRMS[h-1] = 3e-6
	}
	s, want := analyse(t, q, SilenceOptions{}), 0.0
	for _, v := range q.harmonicsRMS {
		want += sq(v)
	}
	within(t, "hum", s.Hum, math.Sqrt(want), 2)
}

// A clock's line among harmonics nearly as strong cannot be told from them by
// its strength.
func TestAClockAmongTheHarmonicsDoesNotDrag(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	sum, worst, n := 0.0, 0.0, 0
	for i := range 24 {
		q := quietRecord{rateHz: 8000, lengthS: 3, noiseStd: 1e-4, mainsHz: 50 - 0.001*float64(i/2), harmonicsRMS: make([]float64, 39), seed: uint64(i)}
		for h := 0; h < 39; h += 2 {
			q.harmonicsRMS[h] = 1e-4 / math.Sqrt(float64(h+1))
		}
		rms := 1e-5 * math.Pow(2, float64(i%6)/2)
		for hz := 500.035; hz < 2500; hz += 500.035 {
			q.tones = append(q.tones, line{freqHz: hz, rms: rms})
		}
		f := analyse(t, q, SilenceOptions{}).Mains.FrequencyHz
		off := math.Abs(f.Value-q.mainsHz) / f.Std
		sum, worst, n = sum+off*off, math.Max(worst, off), n+1
	}
	t.Logf("mean square error over stated variance %.2f, worst %.1f standard uncertainties", sum/float64(n), worst)
	if !(worst < 5) {
		t.Errorf("dragged by %.1f standard uncertainties", worst)
	}
}

// addJittery adds a tone whose phase is a random walk: a Lorentzian line of a
// full width at half maximum of widthHz.
func addJittery(x []float64, rateHz, hz, rms, widthHz float64, rng *rand.Rand) {
	phase := 2 * math.Pi * rng.Float64()
	for i := range x {
		x[i] += math.Sqrt2 * rms * math.Cos(phase)
		phase += 2*math.Pi*hz/rateHz + math.Sqrt(2*math.Pi*widthHz/rateHz)*rng.NormFloat64()
	}
}

func TestMainsIsFoundBesideJitteryTones(t *testing.T) {
	if testing.Short() {
		t.Skip("many records")
	}
	for i, tones := range [][]line{
		{{freqHz: 1060.96, rms: 3e-4, std: 0.06}}, {{freqHz: 2210, rms: 1e-2, std: 3}}, {{freqHz: 741, rms: 3e-4, std: 0.03}}, {{freqHz: 1400, rms: 1e-3, std: 0.01}},
		{{freqHz: 5120, rms: 1e-2, std: 3}, {freqHz: 1807, rms: 1e-3, std: 1}, {freqHz: 1107, rms: 3e-4, std: 0.1}},
	} {
		for k, mainsHz := range []float64{49.97, 60.07, 50.034} {
			q := quietRecord{rateHz: 24000, lengthS: 3, noiseStd: 1e-5, mainsHz: mainsHz, harmonicsRMS: pickUp(), seed: uint64(10*i + k)}
			x, rng := q.make(), rand.New(rand.NewPCG(uint64(i), uint64(k)))
			for _, tone := range tones {
				addJittery(x, q.rateHz, tone.freqHz, tone.rms, tone.std, rng)
			}
			s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
			if err != nil || !s.Mains.Found {
				t.Errorf("%v: %v %s", tones, err, s.Mains.Reason)
				continue
			}
			within(t, fmt.Sprintf("mains frequency beside %v", tones), s.Mains.FrequencyHz, mainsHz, 5)
		}
	}
}

// A single line of the mains is found beside a tone that jitters, 50 dB stronger.
func TestOneLineIsFoundBesideAJitteryTone(t *testing.T) {
	if testing.Short() {
		t.Skip("many records")
	}
	for i := range 12 {
		q := quietRecord{rateHz: 12000, lengthS: 3, noiseStd: 1e-5, mainsHz: 50.034, seed: uint64(i)}
		std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
		q.harmonicsRMS = []float64{27 * std}
		x := q.make()
		addJittery(x, q.rateHz, 1060.96+100*float64(i), 9000*std, 0.3, rand.New(rand.NewPCG(uint64(i), 3)))
		s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
		if err != nil || !s.Mains.Found {
			t.Errorf("record %d: %v %s", i, err, s.Mains.Reason)
			continue
		}
		within(t, fmt.Sprintf("mains frequency of record %d", i), s.Mains.FrequencyHz, q.mainsHz, 4)
	}
}

// A tone on a low harmonic of one comb is nothing beside many lines of another.
func TestOneLowToneIsNoCombBesideOne(t *testing.T) {
	for i := range 6 {
		q := quietRecord{rateHz: 24000, lengthS: 3, noiseStd: 1e-5, mainsHz: 51.44, seed: uint64(i)}
		std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
		for _, v := range []float64{76, 0, 54, 0, 25, 0, 11, 0, 10, 0, 9} {
			q.harmonicsRMS = append(q.harmonicsRMS, v*std)
		}
		q.tones = []line{{freqHz: 204.74 - 0.5*float64(i), rms: 220 * std}}
		s := analyse(t, q, SilenceOptions{})
		if !s.Mains.Found {
			t.Errorf("beside %.2f Hz: %s", q.tones[0].freqHz, s.Mains.Reason)
			continue
		}
		within(t, fmt.Sprintf("mains frequency beside %.2f Hz", q.tones[0].freqHz), s.Mains.FrequencyHz, q.mainsHz, 5)
	}
}

// Whatever two or three jittery tones have in common is no mains.
func TestJitteryTonesAloneAreNoMains(t *testing.T) {
	found, trials := 0, 0
	for i := 27; i < 47; i++ {
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		log := func(a, b float64) float64 { return a * math.Pow(b/a, rng.Float64()) }
		q := quietRecord{rateHz: 12000, lengthS: 3, noiseStd: 1e-5, seed: uint64(i)}
		std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
		x := q.make()
		for range 2 + i%2 {
			addJittery(x, q.rateHz, log(400, 2400), std*log(30, 5000), log(0.01, 3), rng)
		}
		s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
		if err != nil {
			t.Fatal(err)
		}
		trials++
		if s.Mains.Found {
			found++
			t.Logf("record %d: %+v", i, s.Mains.FrequencyHz)
		}
	}
	if found > 0 {
		t.Errorf("%d of %d records of jittery tones show a comb", found, trials)
	}
}

// A weak line on the 31st harmonic knows, if it is one, nine hundred times as
// much of the frequency as the fundamental.
func TestAWeakLineFarUpDoesNotLead(t *testing.T) {
	for i := range 12 {
		q := quietRecord{rateHz: 8000, lengthS: 4, noiseStd: 1e-3, mainsHz: 59.85, seed: uint64(i)}
		std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
		q.harmonicsRMS = []float64{12 * std}
		q.tones = []line{{freqHz: 31 * (q.mainsHz + 0.02), rms: 5.8 * std}}
		s := analyse(t, q, SilenceOptions{})
		if !s.Mains.Found {
			t.Errorf("record %d: %s", i, s.Mains.Reason)
			continue
		}
		within(t, fmt.Sprintf("mains frequency of record %d", i), s.Mains.FrequencyHz, q.mainsHz, 4)
	}
}

// Between quiet spans a clock's line does not go on as a harmonic would.
func TestAClockIsNotTakenOffAsHum(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 6.6, noiseStd: 3e-6, mainsHz: 50.003, harmonicsRMS: pickUp(), tones: clockLines(1000.01)[:2], seed: 4}
	q.tones[0].rms *= 3
	x := q.make()
	c, err := FitMainsAround(x, q.rateHz, []testsignals.Span{{Start: 0, End: 48000}, {Start: len(x) - 48000, End: len(x)}}, 0)
	if err != nil || !c.Found {
		t.Fatal(err, c.Reason)
	}
	within(t, "mains frequency", c.FrequencyHz, q.mainsHz, 4)
	if c.gain[20] != 0 || c.gain[1] < 0.99 {
		t.Errorf("gains %g of the first, %g of the twentieth harmonic", c.gain[1], c.gain[20])
	}
}
