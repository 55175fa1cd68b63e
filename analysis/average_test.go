package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"boardproof/testsignals"
)

// takesOf records one short sweep of a board several times, each with noise
// of its own. Each take arrives at a time of its own.
func takesOf(t *testing.T, kind testsignals.Kind, seconds float64, seed uint64, noise ...float64) []*Recording {
	t.Helper()
	var recs []*Recording
	for i, rms := range noise {
		rec := recorded(t, testsignals.New(kind, 48000, -20, seconds), rms, seed+uint64(i),
			chain(lowPass(12000), highPass(8), gainOf(0.8)), chain(lowPass(11000), highPass(8), gainOf(0.8), delayed(3e-6)))
		recs = append(recs, rec)
	}
	return recs
}

// bang adds a thump of 30 ms, in full scales, in the midst of the body.
func bang(rec *Recording, peak float64) {
	rng := rand.New(rand.NewPCG(8, 9))
	at := rec.Signal.Body.Shift(int(rec.OffsetFrames)).Start + rec.Signal.Body.Len()/3
	for _, x := range rec.Samples {
		for i := range 4800 {
			x[at+i] += peak * rng.NormFloat64() * math.Exp(-float64(i)/1440)
		}
	}
}

func averageSweepsOf(t *testing.T, recs []*Recording) (Result, []Spoilt) {
	t.Helper()
	res, spoilt, _, err := AverageSweeps(InMemory(recs), Takes{}, DefaultBand)
	if err != nil || len(res.Refused) > 0 {
		t.Fatalf("averaging: %v, refused %v", err, res.Refused)
	}
	return res, spoilt
}

// readingAt finds a reading, which must be there once.
func readingAt(t *testing.T, res Result, quantity, output string) Reading {
	t.Helper()
	for _, r := range res.Readings {
		if r.Quantity == quantity && r.Output == output {
			return r
		}
	}
	t.Fatalf("there is no %s of output %s", quantity, output)
	return Reading{}
}

// Weights of the least variance for variances 1, 4 and 16 are 16 : 4 : 1, and
// the variance of the mean is 1/(1 + 1/4 + 1/16): closed form.
func TestInverseVarianceWeights(t *testing.T) {
	w, std := inverseVariance([]float64{1, 2, 4})
	for i, want := range []float64{16. / 21, 4. / 21, 1. / 21} {
		if math.Abs(w[i]-want) > 1e-12 {
			t.Errorf("weight %d is %g, want %g", i, w[i], want)
		}
	}
	if want := math.Sqrt(16.0 / 21); math.Abs(std-want) > 1e-12 {
		t.Errorf("standard uncertainty %g, want %g", std, want)
	}
	w, std = inverseVariance([]float64{0, 0})
	if w[0] != 0.5 || w[1] != 0.5 || std != 0 {
		t.Errorf("without noise: weights %v, %g", w, std)
	}
}

// Noise of N takes alike averages down to 1/N of its power; what the bench is
// uncertain by stays.
func TestVarianceFallsWithTakes(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	const n = 4
	recs := takesOf(t, testsignals.Sweep, 1, 20, 1e-4, 1e-4, 1e-4, 1e-4)
	for _, rec := range recs {
		loop := Transfer{FrequencyHz: Grid(rec.RateHz)}
		for range loop.FrequencyHz {
			loop.Re, loop.Im, loop.RelStd = append(loop.Re, 1), append(loop.Im, 0), append(loop.RelStd, 1e-5)
		}
		rec.Bench = []BenchInput{{Loopback: &loop, PlugRelStd: 2e-4}, {Loopback: &loop, PlugRelStd: 2e-4}}
	}
	one, _ := averageSweepsOf(t, recs[:1])
	all, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) != 0 {
		t.Fatalf("takes without fault were left out: %v", spoilt)
	}
	for _, q := range []string{Gain, LevelMatch, DelayMatch} {
		a, b := readingAt(t, one, q, "B").Budget, readingAt(t, all, q, "B").Budget
		// The noise of a point is known to some 10 % from a dozen gates.
		if ratio := a.typeAStd() / b.typeAStd() / math.Sqrt(n); math.Abs(ratio-1) > 0.25 {
			t.Errorf("%s: type A fell to %.3f of √(1/%d)", q, 1/ratio, n)
		}
		for _, c := range a {
			// What is meant by a delay is read from the response, with its noise.
			within := 1e-12
			if c.Source == sourceMeaning {
				within = 0.1
			}
			if got := b.of(c.Source).Std; c.Kind == "B" && math.Abs(got/c.Std-1) > within {
				t.Errorf("%s: %s went from %g to %g", q, c.Source, c.Std, got)
			}
		}
	}
}

// The mean of many averages must scatter as it states, about the truth, and
// less than equal weights would make it where takes are not equally noisy.
func TestUnequalNoiseIsWeighed(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many sweeps")
	}
	const runs = 4
	noise := []float64{1e-4, 1e-4, 2.5e-4}
	points, off, stated, equal := 0, 0.0, 0.0, 0.0
	for run := range uint64(runs) {
		recs := takesOf(t, testsignals.Sweep, 1, 100+10*run, noise...)
		for _, rec := range recs {
			rec.Outputs, rec.Samples = rec.Outputs[:1], rec.Samples[:1]
		}
		played, err := NewPlayed(recs[0].Signal)
		if err != nil {
			t.Fatal(err)
		}
		var gated []*Gated
		for _, rec := range recs {
			gated = append(gated, readSweep(rec, nil, played).gated[0])
		}
		mean, err := averageGated(gated, true)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range mean.FrequencyHz {
			if f < 100 || f > 15000 {
				continue
			}
			truth := 0.8 * cmplx.Abs(lowPass(12000)(f)*highPass(8)(f))
			sum := 0.0
			for _, g := range gated {
				sum += cmplx.Abs(g.H[i]) / float64(len(gated))
			}
			off += sq(cmplx.Abs(mean.H[i])/truth - 1)
			equal += sq(sum/truth - 1)
			stated += sq(mean.noiseRelStd(i))
			points++
		}
	}
	// 1/(1 + 1 + 1/6.25) against (1 + 1 + 6.25)/9.
	const gain = (1 / 2.16) / (8.25 / 9)
	t.Logf("variance over stated %.3f, over that of equal weights %.3f (closed form %.3f), %d points", off/stated, off/equal, gain, points)
	if r := off / stated; math.Abs(r-1) > 0.15 {
		t.Errorf("the mean's variance is %.3f of what is stated", r)
	}
	if r := off / equal; math.Abs(r/gain-1) > 0.15 {
		t.Errorf("the mean's variance is %.3f of that with equal weights, want %.3f", r, gain)
	}
}

// Takes that arrive at other times are lined up before they are added, and
// the delay is the mean of theirs.
func TestTakesAreLinedUp(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	spec := testsignals.New(testsignals.Sweep, 48000, -20, 1)
	var recs []*Recording
	for i, late := range []float64{0, 7.3e-6, -4.1e-6} {
		recs = append(recs, recorded(t, spec, 1e-5, 60+uint64(i), chain(lowPass(12000), delayed(late))))
	}
	one, _ := averageSweepsOf(t, recs[:1])
	all, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) > 0 {
		t.Fatal(spoilt)
	}
	// The weights are alike to some 10 %, as the noise is known, of 11 µs.
	want := (7.3 - 4.1) / 3
	if got := readingAt(t, all, Delay, "A").Value - readingAt(t, one, Delay, "A").Value; math.Abs(got-want) > 0.5 {
		t.Errorf("the delay is %.3f µs later than the first take's, want %.3f", got, want)
	}
	// 7 µs are 50° at 20 kHz: not lined up, the sum would be 2 dB down there.
	for _, c := range all.Curves {
		if c.Quantity != Response {
			continue
		}
		for i, f := range c.FrequencyHz {
			if f > 100 && f < 15000 && math.Abs(c.Value[i]-DB(cmplx.Abs(lowPass(12000)(f)))) > 0.01 {
				t.Errorf("%.0f Hz: %.4f dB, want %.4f", f, c.Value[i], DB(cmplx.Abs(lowPass(12000)(f))))
			}
		}
	}
}

// likeCurves compares curves by their points; Fine is a function.
var likeCurves = cmpopts.IgnoreFields(Curve{}, "Fine")

func TestBangInASweepIsLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	recs := takesOf(t, testsignals.Sweep, 1, 30, 1e-5, 1e-5, 1e-5)
	clean, _ := averageSweepsOf(t, []*Recording{recs[0], recs[2]})
	bang(recs[1], 0.02)
	res, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) != 1 || spoilt[0].Take != 1 {
		t.Fatalf("left out %v, want take 1 for a bang", spoilt)
	}
	if diff := cmp.Diff(clean, res, likeCurves); diff != "" {
		t.Errorf("the spoilt take still counts:\n%s", diff)
	}
	// Noise that lasts, as of a lorry in the yard. Of two the noisier goes,
	// whichever it is.
	recs[1] = takesOf(t, testsignals.Sweep, 1, 39, 1e-4)[0]
	for _, pair := range [][]*Recording{{recs[0], recs[1]}, {recs[1], recs[0]}} {
		_, spoilt := averageSweepsOf(t, pair)
		if len(spoilt) != 1 || pair[spoilt[0].Take] != recs[1] || !strings.Contains(spoilt[0].Reason, "above that of the other takes, as after a bang") {
			t.Errorf("of two takes: %v", spoilt)
		}
	}
}

func TestStrayTakeIsLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	recs := takesOf(t, testsignals.Sweep, 1, 40, 1e-5, 1e-5, 1e-5, 1e-5)
	spec := testsignals.New(testsignals.Sweep, 48000, -20, 1)
	recs[2] = recorded(t, spec, 1e-5, 44, chain(lowPass(12000), highPass(8), gainOf(0.82)), chain(lowPass(11000), highPass(8), gainOf(0.8)))
	_, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) != 1 || spoilt[0].Take != 2 || !strings.Contains(spoilt[0].Reason, "output A is 0.2") {
		t.Errorf("left out %v, want take 2, 0.21 dB off", spoilt)
	}
}

// Takes that drift by more than their noise, and less than would spoil them,
// make the mean less certain by as much.
func TestDriftBetweenTakesWidens(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	spec := testsignals.New(testsignals.Sweep, 48000, -20, 1)
	var recs []*Recording
	for i, g := range []float64{1, 1.001, 0.999} {
		recs = append(recs, recorded(t, spec, 1e-6, 50+uint64(i), chain(lowPass(12000), gainOf(g))))
	}
	res, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) > 0 {
		t.Fatal(spoilt)
	}
	r := readingAt(t, res, Gain, "A")
	// The standard deviation of the three is 1e-3, of their mean 1e-3/√3; half
	// of the noise's power is in the magnitude, where all of this is.
	want := DBFromRelative(1e-3 / math.Sqrt(3) / math.Sqrt2)
	if got := r.Budget.typeAStd(); got < 0.8*want || got > 2*want {
		t.Errorf("type A is %.5f dB, the takes scatter by %.5f", got, want)
	}
}

// The same of two outputs against each other: a delay that is another in each
// take is stated no better than it repeats.
func TestDelayThatDoesNotRepeatWidens(t *testing.T) {
	if testing.Short() {
		t.Skip("averages sweeps")
	}
	spec := testsignals.New(testsignals.Sweep, 48000, -20, 1)
	const apartS = 1e-8
	var recs []*Recording
	for i, late := range []float64{0, apartS, -apartS} {
		recs = append(recs, recorded(t, spec, 1e-7, 60+uint64(i), chain(lowPass(12000)), chain(lowPass(12000), delayed(3e-6+late))))
	}
	res, spoilt := averageSweepsOf(t, recs)
	if len(spoilt) > 0 {
		t.Fatal(spoilt)
	}
	r := readingAt(t, res, DelayMatch, "B")
	// The standard deviation of the three is apartS. Noise would be independent
	// from point to point and so average away: this is what the widened noise
	// makes of it, which must be far beyond what the takes' own noise makes.
	one, _ := averageSweepsOf(t, recs[:1])
	alone := readingAt(t, one, DelayMatch, "B").Budget.typeAStd() / math.Sqrt(3)
	if got := r.Budget.typeAStd(); got < 3*alone {
		t.Errorf("type A is %.3g µs where the takes scatter by %.3g µs; of their noise it is %.3g µs", got, 1e6*apartS, alone)
	}
}

func TestOneTakeIsReadAsEver(t *testing.T) {
	if testing.Short() {
		t.Skip("reads three kinds of take twice")
	}
	sweeps, tones, impulses := takesOf(t, testsignals.Sweep, 1, 70, 1e-5), takesOf(t, testsignals.Tone, 1, 71, 1e-5), takesOf(t, testsignals.Impulses, 0, 72, 1e-5)
	want, err := SweepResult(sweeps[0], impulses[0], DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	got, spoilt, bad, err := AverageSweeps(InMemory(sweeps), InMemory(impulses), DefaultBand)
	if diff := cmp.Diff(want, got, likeCurves); err != nil || diff != "" || len(spoilt)+len(bad) > 0 {
		t.Errorf("sweep: %v, %v, %v\n%s", err, spoilt, bad, diff)
	}
	if want, err = ToneResult(tones[0]); err != nil {
		t.Fatal(err)
	}
	if got, spoilt, err = AverageTones(InMemory(tones)); err != nil || len(spoilt) > 0 || cmp.Diff(want, got) != "" {
		t.Errorf("tone: %v, %v\n%s", err, spoilt, cmp.Diff(want, got))
	}
}

func TestImpulsesAreAveraged(t *testing.T) {
	if testing.Short() {
		t.Skip("averages trains of impulses")
	}
	trains := takesOf(t, testsignals.Impulses, 0, 80, 1e-4, 1e-4, 1e-4, 1e-4)
	bang(trains[3], 0.3)
	second, spoilt, err := averageImpulses(InMemory(trains))
	if err != nil || len(spoilt) != 1 || spoilt[0].Take != 3 {
		t.Fatalf("left out %v, want train 3; %v", spoilt, err)
	}
	one, err := impulsesOf(trains[0])(0)
	if err != nil {
		t.Fatal(err)
	}
	all, err := second(0)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := one.scatterDB()-all.scatterDB(), 10*math.Log10(3); math.Abs(got-want) > 0.5 {
		t.Errorf("the scatter of three trains is %.2f dB below that of one, want %.2f", got, want)
	}
	off, stated := 0.0, 0.0
	for k, f := range all.FrequencyHz {
		if f > opinionLowHz && f < opinionHighHz {
			off += sq(cmplx.Abs(all.H[k]) - 0.8*cmplx.Abs(lowPass(12000)(f)*highPass(8)(f)))
			stated += sq(all.Std[k]) / 2
		}
	}
	if r := off / stated; math.Abs(r-1) > 0.25 {
		t.Errorf("the mean's variance is %.3f of what is stated", r)
	}
}
