package analysis

import (
	"math"
	"slices"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// around is a record with 0.6 s of quiet before and 0.5 s after 5.5 s of
// something loud; hum runs through all of it.
func around(q quietRecord, walkHz float64) (x, hum []float64, quiet []testsignals.Span) {
	q.lengthS = 6.6
	x = q.make()
	hum = make([]float64, len(x))
	steps := quietRecord{rateHz: q.rateHz, lengthS: 6.6, noiseStd: walkHz / math.Sqrt(q.rateHz), seed: q.seed + 1}.make()
	hz, cycles := 50.02, 0.0
	for i := range hum {
		hz += 0.002/q.rateHz + steps[i]
		cycles += hz / q.rateHz
		for h := 1; h <= 20; h++ {
			hum[i] += 1e-3 / float64(h) * math.Cos(2*math.Pi*float64(h)*cycles+float64(h))
		}
		x[i] += hum[i]
	}
	first, last := int(0.6*q.rateHz), int(6.1*q.rateHz)
	for i := first; i < last; i++ {
		x[i] += 0.3 * math.Sin(float64(i)*0.05)
	}
	return x, hum, []testsignals.Span{{Start: 0, End: first}, {Start: last, End: len(x)}}
}

// left is the power that Subtract leaves of the hum in the loud part, as a
// share of it, and that hum's power over the noise's.
func left(t *testing.T, q quietRecord, walkHz, humGain float64) (share, overNoise float64, c *Comb) {
	t.Helper()
	x, hum, quiet := around(q, walkHz)
	for i := range x {
		x[i] += (humGain - 1) * hum[i]
	}
	c, err := FitMainsAround(x, q.rateHz, quiet, 0)
	if err != nil {
		t.Fatal(err)
	}
	y := append([]float64(nil), x...)
	c.Subtract(y)
	num, den := 0.0, 0.0
	for i := quiet[0].End; i < quiet[1].Start; i++ {
		num += sq(humGain*hum[i] - (x[i] - y[i]))
		den += sq(humGain * hum[i])
	}
	return num / den, den / float64(quiet[1].Start-quiet[0].End) / sq(q.noiseStd), c
}

func TestHumIsTakenOffBetweenQuietSpans(t *testing.T) {
	share, _, c := left(t, quietRecord{rateHz: 48000, noiseStd: 1e-4, seed: 5}, 0, 1)
	if !c.Found || share > 1e-3 {
		t.Errorf("%v %s: %.1f dB of the hum are left", c.Found, c.Reason, 10*math.Log10(share))
	}
	within(t, "mains frequency", c.FrequencyHz, 50.02+0.002*3.3, 4)
	// What the mains may do unseen in the gap costs the high harmonics more.
	if c.gain[1] < 0.999 || c.gain[20] > 0.995 || c.gain[20] < 0.9 {
		t.Errorf("gains %g of the first, %g of the twentieth harmonic", c.gain[1], c.gain[20])
	}
}

// A single weak line shows in both spans, but how many cycles lie between
// them cannot be told.
func TestAPhaseThatMaySlipIsNotCarriedOver(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 6.6, noiseStd: 1e-3, mainsHz: 50.02}
	q.harmonicsRMS = []float64{9 * math.Sqrt(q.densityOf()/(2*1.1))}
	slips := 0
	for i := range 20 {
		q.seed = uint64(i)
		c, err := FitMainsAround(q.make(), q.rateHz, []testsignals.Span{{Start: 0, End: 4800}, {Start: 48800, End: 52800}}, 50)
		if err != nil {
			t.Fatal(err)
		}
		if c.Found {
			t.Errorf("record %d: carried over, at %g Hz", i, c.FrequencyHz.Value)
		}
		if strings.Contains(c.Reason, "gap") {
			slips++
		}
	}
	if slips < 5 {
		t.Errorf("%d of 20 combs were seen and not carried over", slips)
	}
}

// Whatever the mains does in the gap, and however weak it is, taking it off
// must not make things worse by more than a little.
func TestTakingHumOffNeverHurts(t *testing.T) {
	worst, helped := 0.0, 0
	for i := range 72 {
		walk := []float64{0, 1e-3, 5e-3, 20e-3}[i%4]
		gain := []float64{1, 0.1, 0.01}[i%3]
		share, overNoise, c := left(t, quietRecord{rateHz: 8000, noiseStd: 1e-4, seed: uint64(40 * i)}, walk, gain)
		worst = math.Max(worst, 1+(share-1)*overNoise/(1+overNoise))
		if share < 0.5 {
			helped++
		}
		// Of hum and noise together, 1 % more; of hum alone, 1 dB more, unless
		// the mains wanders twenty times as much as it does.
		if (share-1)*overNoise > 0.01*(1+overNoise) || share > 1.26 && walk < 0.02 {
			t.Errorf("walk %g, hum %g: %.1f dB left: %s", walk, gain, 10*math.Log10(share), c.Reason)
		}
	}
	t.Logf("worst %.4f of hum and noise left, helped in %d of 72", worst, helped)
	if helped < 24 {
		t.Errorf("it helped in %d of 72 records only", helped)
	}
}

func TestNothingIsTakenOffWhereThereIsNoHum(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 6.6, noiseStd: 1e-3, seed: 4}
	x := q.make()
	c, err := FitMainsAround(x, q.rateHz, []testsignals.Span{{Start: 0, End: 4800}, {Start: 48800, End: 52800}}, 50)
	if err != nil {
		t.Fatal(err)
	}
	y := append([]float64(nil), x...)
	c.Subtract(y)
	for i := range x {
		if x[i] != y[i] {
			t.Fatalf("frame %d changed, found: %v", i, c.Found)
		}
	}
}

func TestBadSpansAndSamplesAreErrors(t *testing.T) {
	x := make([]float64, 8000)
	for name, spans := range map[string][]testsignals.Span{
		"none": nil, "empty": {{Start: 5, End: 5}}, "outside": {{Start: 0, End: 8001}},
		"out of order": {{Start: 4000, End: 8000}, {Start: 0, End: 2000}},
	} {
		if _, err := FitMainsAround(x, 8000, spans, 0); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := FitMainsAround(x, 8000, all(x), 55); err == nil {
		t.Error("nominal frequency of 55 Hz: no error")
	}
	if c, err := FitMainsAround(x, 8000, all(x), 0); err != nil || c.Found {
		t.Errorf("digital silence: %v, %v", c, err)
	}
	x[7] = math.NaN()
	if _, err := FitMainsAround(x, 8000, all(x), 0); err == nil {
		t.Error("a sample that is not a number: no error")
	}
}

// Taken off a piece of the record, the lines are those that are taken off all of
// it.
func TestCombIsTakenOffAPiece(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 2, noiseStd: 1e-6, mainsHz: 50.03, driftHzPerS: 0.01, harmonicsRMS: rectifierHum(1e-4, 20), seed: 8}
	x := q.make()
	c, err := FitMainsAround(x, q.rateHz, []testsignals.Span{{Start: 1000, End: 40000}, {Start: 60000, End: 90000}}, 0)
	if err != nil || !c.Found {
		t.Fatal(err, c.Reason)
	}
	for _, from := range []int{0, 500, 12345, 92000} {
		piece, whole := slices.Clone(x[from:]), slices.Clone(x)
		c.addTo(piece, from, -1)
		c.Subtract(whole)
		for i, v := range piece {
			if math.Abs(v-whole[from+i]) > 1e-12 {
				t.Fatalf("from frame %d, frame %d is %g, want %g", from, i, v, whole[from+i])
			}
		}
	}
}
