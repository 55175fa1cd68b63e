package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"boardproof/testsignals"
)

// The ring's sums against the sums themselves.
func TestFolderSumsAreTheSums(t *testing.T) {
	x := quietRecord{rateHz: 8000, lengthS: 0.3, noiseStd: 1, seed: 3}.make()
	p := mainsPhase{firstFrame: 0, stepFrames: 800, cycles: []float64{-7.2, -2.3, 2.8, 8.1}, slopes: []float64{4.8, 5, 5.2, 5.4}}
	f := newFolder(1, 40, exactRing)
	span := testsignals.Span{Start: 100, End: len(x)}
	sums, scale := f.sums(x, span, &p), math.Sqrt(float64(len(x)))
	for h := 0; h <= 40; h++ {
		var want complex128
		for i := span.Start; i < span.End; i++ {
			want += complex(x[i], 0) * cmplx.Rect(1, -2*math.Pi*float64(h)*p.at(float64(i)))
		}
		if d := cmplx.Abs(sums[h]-want) / scale; d > 1e-6 {
			t.Fatalf("harmonic %d: off by %g", h, d)
		}
	}
	amps := make([]complex128, 41)
	amps[0], amps[1], amps[40] = 0.5, complex(1, 2), complex(0.3, -0.1)
	y := make([]float64, len(x))
	f.addTo(y, span, amps, &p, 1)
	for i, got := range y {
		c, want := p.at(float64(i)), 0.0
		if i >= span.Start {
			want = 0.5 + real(amps[1]*cmplx.Rect(1, 2*math.Pi*c)) + real(amps[40]*cmplx.Rect(1, 80*math.Pi*c))
		}
		if math.Abs(got-want) > 1e-7 {
			t.Fatalf("frame %d: %g, want %g", i, got, want)
		}
	}
}

// Mains far from nominal and drifting by 20 mHz/s, to the 40th harmonic.
func TestDriftingMainsIsFollowedToThe40th(t *testing.T) {
	if testing.Short() {
		t.Skip("long records")
	}
	for _, c := range []struct{ hz, drift float64 }{{49.2, 0.02}, {60.7, -0.02}, {50.01, 0}} {
		t.Run(fmt.Sprintf("%g Hz", c.hz), func(t *testing.T) {
			q := quietRecord{
				rateHz: 48000, lengthS: 10, noiseStd: 1e-5, mainsHz: c.hz, driftHzPerS: c.drift,
				harmonicsRMS: rectifierHum(1e-4, 40), seed: uint64(c.hz * 10),
			}
			s := analyse(t, q, SilenceOptions{})
			if !s.Mains.Found {
				t.Fatal(s.Mains.Reason)
			}
			within(t, "mains frequency", s.Mains.FrequencyHz, c.hz, 4)
			within(t, "drift", s.Mains.DriftHzPerS, c.drift, 4)
			for _, h := range s.Harmonics {
				if h.UpperBound {
					t.Errorf("harmonic %d is only a bound", h.Harmonic)
					continue
				}
				within(t, fmt.Sprintf("harmonic %d", h.Harmonic), h.RMS, q.harmonicsRMS[h.Harmonic-1], 4.5)
			}
			noise := math.Sqrt(q.densityOf() * (NoiseHighHz - NoiseLowHz))
			within(t, "hiss", s.Hiss[Unweighted], noise, 4)
			if len(s.Tones) != 0 {
				t.Errorf("what is left of the comb is taken for tones: %v", s.Tones)
			}
		})
	}
}

// within fails when an estimate is more standard uncertainties from the truth
// than k.
func within(t *testing.T, what string, e Estimate, want, k float64) {
	t.Helper()
	if !(e.Std > 0) || math.Abs(e.Value-want) > k*e.Std {
		t.Errorf("%s: %.9g ± %.2g (standard), want %.9g: off by %.1f of them", what, e.Value, e.Std, want, math.Abs(e.Value-want)/e.Std)
	}
}

// The scatter of frequency and amplitude against the Cramér-Rao bounds, and
// the intervals against the truth. For harmonics of amplitudes A_h in white
// noise of variance s², with amplitude and phase of each unknown, the bound
// of the shared frequency is 6·s²·fs²/(π²·ΣhA_h²·N·(N²−1)) with the sum over
// h²·A_h²: Rife & Boorstyn (1974) for one tone, information added up.
func TestMainsFrequencyMeetsTheCramerRaoBound(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	n := trials(t, 50)
	count := float64(n)
	q := quietRecord{rateHz: 8000, lengthS: 2, noiseStd: 1e-3, mainsHz: 50.03, driftHzPerS: 0.004,
		harmonicsRMS: []float64{1e-3, 0, 5e-4, 0, 3e-4, 1e-4, 0, 0, 2e-4}}
	frames := q.rateHz * q.lengthS
	information := 0.0
	for i, rms := range q.harmonicsRMS {
		information += sq(float64(i+1)) * 2 * rms * rms
	}
	bound := 6 * sq(q.noiseStd) * sq(q.rateHz) / (sq(math.Pi) * information * frames * (frames*frames - 1))
	squares, stated, held, heldAmp := 0.0, 0.0, 0, 0
	for i := range n {
		q.seed = uint64(i + 1)
		s := analyse(t, q, SilenceOptions{})
		if !s.Mains.Found {
			t.Fatalf("trial %d: %s", i, s.Mains.Reason)
		}
		f := s.Mains.FrequencyHz
		squares += sq(f.Value-q.mainsHz) / count
		stated += sq(f.Std) / count
		if math.Abs(f.Value-q.mainsHz) <= CoverageK*f.Std {
			held++
		}
		if a := s.Harmonics[2].RMS; math.Abs(a.Value-5e-4) <= CoverageK*a.Std {
			heldAmp++
		}
	}
	t.Logf("mean square error over the bound %.3f, stated variance over the bound %.3f, held %d and %d of %d",
		squares/bound, stated/bound, held, heldAmp, n)
	// A variance from n trials is known to √(2/n): three times that either way.
	if r := squares / bound; math.Abs(r-1) > math.Max(0.1, 3*math.Sqrt(2/count)) {
		t.Errorf("mean square error is %.3f of the Cramér-Rao bound", r)
	}
	if r := stated / bound; r > 1.1 || r < 0.9 {
		t.Errorf("stated variance is %.3f of the Cramér-Rao bound", r)
	}
	if least := heldAtLeast(0.9545, n); held < least || heldAmp < least {
		t.Errorf("intervals held the truth %d and %d times of %d", held, heldAmp, n)
	}
}

// heldAtLeast is three standard deviations of a binomial under share of n.
func heldAtLeast(share float64, n int) int {
	return int(share*float64(n) - 3*math.Sqrt(share*(1-share)*float64(n)))
}

// With one strong line only, the noise under 39 other harmonics must not lead
// the frequency astray, nor make it seem surer than it is.
func TestNoiseUnderTheCombDoesNotLead(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	n := trials(t, 40)
	q := quietRecord{rateHz: 8000, lengthS: 2, noiseStd: 1e-3, mainsHz: 49.98, harmonicsRMS: []float64{1e-3}}
	sum := 0.0
	for i := range n {
		q.seed = uint64(i + 1)
		f := analyse(t, q, SilenceOptions{}).Mains.FrequencyHz
		sum += sq((f.Value-q.mainsHz)/f.Std) / float64(n)
	}
	t.Logf("mean square error over stated variance %.2f", sum)
	// Known to √(2/n): three times that.
	if !(sum < 1+math.Max(0.1, 3*math.Sqrt(2/float64(n)))) {
		t.Errorf("mean square error is %.2f of the stated variance", sum)
	}
}

func TestHarmonicsUnderTheNoiseAreBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	n := trials(t, 40)
	q := quietRecord{rateHz: 8000, lengthS: 2, noiseStd: 1e-3, mainsHz: 49.98}
	std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
	// The second is well under the noise, the third just above it.
	q.harmonicsRMS = []float64{1e-3, 1.5 * std, 5 * std}
	bounds, held, near, nearHeld := 0, 0, 0, 0
	for i := range n {
		q.seed = uint64(i + 1)
		s := analyse(t, q, SilenceOptions{})
		if h := s.Harmonics[1]; h.UpperBound {
			bounds++
			if q.harmonicsRMS[1] <= h.RMS.Value {
				held++
			}
		}
		h, truth := s.Harmonics[2].RMS, q.harmonicsRMS[2]
		switch {
		case !s.Harmonics[2].UpperBound:
			near++
			if math.Abs(h.Value-truth) <= CoverageK*h.Std {
				nearHeld++
			}
		case truth <= h.Value:
			near++
			nearHeld++
		default:
			near++
		}
	}
	t.Logf("bounds held %d of %d, figures near the noise %d of %d", held, bounds, nearHeld, near)
	// At least 95 % less three standard deviations of a binomial.
	if bounds < n*9/10 || held < heldAtLeast(0.95, bounds) {
		t.Errorf("bounds held %d times of %d", held, bounds)
	}
	if nearHeld < heldAtLeast(0.93, near) {
		t.Errorf("figures near the noise held %d times of %d", nearHeld, near)
	}
}

// A full-wave rectified sine has harmonics at 2n times the mains frequency in
// the ratio 1/(4n²−1): the second ripple line is 14.0 dB under the first. A
// square wave's third harmonic is 9.54 dB under its fundamental. Closed forms
// (Fourier).
func TestRectifierAndSquareWaveLines(t *testing.T) {
	const rate, hz = 48000.0, 50.013
	shape := func(f func(cycles float64) float64) *Silence {
		x := quietRecord{rateHz: rate, lengthS: 3, noiseStd: 1e-6, seed: 2}.make()
		for i := range x {
			x[i] += f(hz * float64(i) / rate)
		}
		s, err := AnalyseSilence(x, rate, SilenceOptions{NominalMainsHz: 50})
		if err != nil || !s.Mains.Found {
			t.Fatal(err, s)
		}
		return s
	}
	s := shape(func(c float64) float64 {
		sum := 0.0
		for n := 1; n <= 40; n++ {
			sum += -4 / math.Pi / float64(4*n*n-1) * math.Cos(4*math.Pi*float64(n)*c)
		}
		return 1e-2 * sum
	})
	ratio(t, "second ripple line under the first", s.Harmonics[1].RMS.Value/s.Harmonics[3].RMS.Value, 14.0, 0.03)
	if !s.Harmonics[0].UpperBound || !s.Harmonics[2].UpperBound {
		t.Error("a rectifier has no odd harmonics, yet some are given")
	}
	s = shape(func(c float64) float64 {
		sum := 0.0
		for n := 1; n <= 99; n += 2 {
			sum += 4 / math.Pi / float64(n) * math.Sin(2*math.Pi*float64(n)*c)
		}
		return 1e-2 * sum
	})
	ratio(t, "third harmonic of a square wave", s.Harmonics[0].RMS.Value/s.Harmonics[2].RMS.Value, 9.54, 0.005)
}

func ratio(t *testing.T, what string, got, wantDB, tolDB float64) {
	t.Helper()
	if d := DB(got) - wantDB; math.Abs(d) > tolDB {
		t.Errorf("%s: %.3f dB, want %.2f dB", what, DB(got), wantDB)
	}
}

// Records of noise alone show neither mains nor tones: 1 in 1000 may show a
// comb, 1 in 200 a tone.
func TestNoiseAloneShowsNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	n := trials(t, 30)
	combs, tones := 0, 0
	for i := range n {
		s := analyse(t, quietRecord{rateHz: 8000, lengthS: 2, noiseStd: 1e-3, seed: uint64(9000 + i)}, SilenceOptions{})
		if s.Mains.Found {
			combs++
		}
		tones += min(len(s.Tones), 1)
	}
	t.Logf("of %d records of noise %d show a comb, %d a tone", n, combs, tones)
	// Three standard deviations of a Poisson count above the share that may.
	most := func(share float64) int { want := share * float64(n); return int(want + 3*math.Sqrt(want)) }
	if combs > most(0.001) || tones > most(0.005) {
		t.Errorf("of %d records of noise %d show a comb, %d a tone", n, combs, tones)
	}
}

func TestNoCombIsRefusedAndBounded(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 3, noiseStd: 1e-3, seed: 1}
	s := analyse(t, q, SilenceOptions{NominalMainsHz: 60})
	if s.Mains.Found || len(s.Harmonics) != 40 || !s.HumUpperBound {
		t.Fatalf("mains found: %v, %d harmonics", s.Mains.Found, len(s.Harmonics))
	}
	std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
	for _, h := range s.Harmonics {
		if !h.UpperBound || h.RMS.Value < 2*std || h.RMS.Value > 12*std {
			t.Errorf("harmonic %d: %+v where a quadrature's standard uncertainty is %g", h.Harmonic, h, std)
		}
	}
}

// Taking the comb out of a short record must not take the noise with it.
func TestHissIsNotBiasedByTakingTheCombOut(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	n := trials(t, 30)
	sum, sum2 := 0.0, 0.0
	for i := range n {
		q := quietRecord{rateHz: 8000, lengthS: 1, noiseStd: 1e-3, mainsHz: 50.02, harmonicsRMS: rectifierHum(1e-2, 40), seed: uint64(i)}
		s := analyse(t, q, SilenceOptions{})
		// 20 Hz to 4 kHz here: all of the band at this rate.
		r := sq(s.Hiss[Unweighted].Value) / (q.densityOf() * (4000 - NoiseLowHz))
		sum += r / float64(n)
		sum2 += r * r / float64(n)
	}
	scatter := math.Sqrt((sum2 - sum*sum) / float64(n))
	t.Logf("hiss power over truth %.5f ± %.5f", sum, scatter)
	// Without giving it back the 80 quadratures would take 1 %.
	if math.Abs(sum-1) > 4*scatter {
		t.Errorf("hiss power is %.5f ± %.5f of the truth", sum, scatter)
	}
}

// Mains whose frequency wanders as a random walk of 3 mHz in a second is
// still taken out down to the hiss.
func TestWanderingMainsIsFollowed(t *testing.T) {
	q := quietRecord{rateHz: 8000, lengthS: 10, noiseStd: 1e-5, seed: 21}
	x := q.make()
	walk := quietRecord{rateHz: 8000, lengthS: 10, noiseStd: 3e-3 / math.Sqrt(8000), seed: 22}.make()
	hz, cycles, mean := 50.01, 0.0, 0.0
	for i := range x {
		hz += walk[i]
		cycles += hz / q.rateHz
		mean += hz / float64(len(x))
		for h := 1; h <= 10; h++ {
			x[i] += 1e-4 / float64(h) * math.Cos(2*math.Pi*float64(h)*cycles)
		}
	}
	s, err := AnalyseSilence(x, q.rateHz, SilenceOptions{})
	if err != nil || !s.Mains.Found {
		t.Fatal(err, s.Mains)
	}
	if d := math.Abs(s.Mains.FrequencyHz.Value - mean); d > 5e-4 {
		t.Errorf("mean frequency off by %g Hz", d)
	}
	want := math.Sqrt(q.densityOf() * (4000 - NoiseLowHz))
	if r := DB(s.Hiss[Unweighted].Value / want); math.Abs(r) > 0.1 {
		t.Errorf("hiss is off by %.2f dB", r)
	}
	if len(s.Tones) != 0 {
		t.Errorf("the mains' wander shows as tones: %v", s.Tones)
	}
}

// One line at 300 Hz is a harmonic of either mains.
func TestOneLineOfEitherMains(t *testing.T) {
	if testing.Short() {
		t.Skip("long records")
	}
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 2e-5, mainsHz: 59.97, harmonicsRMS: []float64{0, 0, 0, 0, 3e-6}, seed: 2}
	if s := analyse(t, q, SilenceOptions{}); s.Mains.Found || s.Mains.Reason != eitherMains || !s.HumUpperBound {
		t.Errorf("mains %+v: %s", s.Mains.FrequencyHz, s.Mains.Reason)
	}
	s := analyse(t, q, SilenceOptions{NominalMainsHz: 60})
	if !s.Mains.Found || math.Abs(s.Mains.FrequencyHz.Value-59.97) > 4*s.Mains.FrequencyHz.Std {
		t.Errorf("of 60 Hz: mains %+v: %s", s.Mains.FrequencyHz, s.Mains.Reason)
	}
	rec := &Recording{Outputs: []string{"A"}, Samples: [][]float64{q.make()}, RateHz: q.rateHz,
		Bench: []BenchInput{{VoltsPerUnit: 1, Floor: &Floor{MainsHz: 60.02}}}}
	res, err := SilenceOf(rec)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range res.Readings {
		if r.Quantity == MainsFrequency && math.Abs(r.Value-59.97) < 0.01 {
			return
		}
	}
	t.Errorf("with a bench at 60 Hz: %+v", res.Refused)
}
