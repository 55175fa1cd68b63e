package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"boardproof/testsignals"
)

// trials is how many records each variance is taken from: few in the tests,
// CRB_TRIALS with 'make crb'.
func trials(t *testing.T, few int) int {
	t.Helper()
	s := os.Getenv("CRB_TRIALS")
	if s == "" {
		return few
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 2 {
		t.Fatalf("CRB_TRIALS=%s is not a number of trials", s)
	}
	return n
}

// efficiency is the mean square deviation from the truth over its Cramér-Rao
// bound, by quantity and signal-to-noise ratio.
type efficiency struct {
	sum map[string]float64
	n   int
}

func (e *efficiency) add(quantity string, deviation, bound float64) {
	e.sum[quantity] += deviation * deviation / bound
}

// The ratio of a variance from n trials scatters by √(2/n). It may be 1.1 at
// most, or four times that above 1 where the trials are too few to tell; as
// much below 1 would be a bound worked out wrong.
func (e *efficiency) check(t *testing.T, snrDB float64) {
	t.Helper()
	scatter := 4 * math.Sqrt(2/float64(e.n))
	for quantity, sum := range e.sum {
		ratio := sum / float64(e.n)
		t.Logf("%-24s %3.0f dB   %.3f ± %.3f   %d trials", quantity, snrDB, ratio, scatter/4, e.n)
		if ratio > math.Max(1.1, 1+scatter) || ratio < 1-scatter {
			t.Errorf("%s at %g dB: variance over its Cramér-Rao bound is %.3f", quantity, snrDB, ratio)
		}
	}
}

// againstBound runs trial at three signal-to-noise ratios (signal's power over
// that of the white noise in the whole band).
func againstBound(t *testing.T, few int, trial func(e *efficiency, noiseOverSignal float64, rng *rand.Rand)) {
	t.Parallel()
	for i, snrDB := range []float64{20, 40, 60} {
		e := &efficiency{sum: map[string]float64{}}
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		for e.n < trials(t, few) {
			trial(e, math.Pow(10, -snrDB/20), rng)
			e.n++
		}
		e.check(t, snrDB)
	}
}

// Tone in white noise of variance s², N samples: var(A) ≥ 2s²/N (Rife &
// Boorstyn, IEEE Trans. IT-20(5), 1974; Kay, Estimation Theory, 1993, example
// 3.14). The level match of two channels with noise of their own is the
// difference of two such levels.
func TestBoundOfToneLevelAndMatch(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	const rateHz, n, a, b = 48000.0, 4800, 1.0, 0.8
	againstBound(t, 60, func(e *efficiency, noise float64, rng *rand.Rand) {
		s := noise * a / math.Sqrt2
		f, phase := 1000+rng.Float64(), 2*math.Pi*rng.Float64()
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			c := math.Cos(2*math.Pi*f*float64(i)/rateHz + phase)
			x[i], y[i] = a*c, b*c
		}
		addNoise(x, s, rng)
		addNoise(y, s, rng)
		fit, err := FitTone([][]float64{x, y}, rateHz, 1000, distortionOrders)
		if err != nil {
			t.Fatal(err)
		}
		match, _ := fit.levelOver(1, 0, rateHz)
		relative := func(amplitude float64) float64 { return 2 * s * s / n / (amplitude * amplitude) }
		e.add("tone level", DB(fit.Channels[0].Amplitude[0]/a), sq(DBFromRelative(1))*relative(a))
		e.add("level match", match-DB(b/a), sq(DBFromRelative(1))*(relative(a)+relative(b)))
	})
}

// A comb of lines A_h at h·f, phases free, in white noise of variance s²: the
// information of each about f is h² times that of one tone (Rife & Boorstyn;
// Kay, example 3.14 with the chain rule), so
// var(f) ≥ 6·s²·fs²/(π²·Σh²A_h²·N·(N²−1)). A steady drift, fitted too, is even
// about the middle of the record and takes nothing from it. The RMS of one
// line: var ≥ s²/N.
func TestBoundOfMains(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	const rateHz, n = 8000.0, 16000
	amplitude := map[int]float64{1: 1, 2: 0.4, 3: 0.6, 5: 0.3}
	power, information := 0.0, 0.0
	for h, a := range amplitude {
		power += a * a / 2
		information += float64(h*h) * a * a
	}
	againstBound(t, 15, func(e *efficiency, noise float64, rng *rand.Rand) {
		s := noise * math.Sqrt(power)
		f := 50 + 0.2*(2*rng.Float64()-1)
		x := make([]float64, n)
		for h, a := range amplitude {
			phase := 2 * math.Pi * rng.Float64()
			for i := range x {
				x[i] += a * math.Cos(2*math.Pi*f*float64(h)*float64(i)/rateHz+phase)
			}
		}
		addNoise(x, s, rng)
		found, err := AnalyseSilence(x, rateHz, SilenceOptions{NominalMainsHz: 50})
		if err != nil {
			t.Fatal(err)
		}
		if !found.Mains.Found {
			t.Fatal(found.Mains.Reason)
		}
		e.add("mains frequency", found.Mains.FrequencyHz.Value-f,
			6*s*s*rateHz*rateHz/(math.Pi*math.Pi*information*n*(float64(n)*n-1)))
		for _, h := range []int{1, 3} {
			e.add(fmt.Sprintf("hum harmonic %d", h), found.Harmonics[h-1].RMS.Value-amplitude[h]/math.Sqrt2, s*s/n)
		}
	})
}

// A known sweep s, received twice with gains a and b, delays t and u and white
// noise of variance s² in each. In one channel the log-likelihood of the
// spectrum X over N bins is −Σ|X_k − H_k·S_k|²/(2·s²·N) over both signs of
// frequency, with H_k = a_k·exp(−j2πf_k·t). Its curvature in t is
//
//	I = (2/(s²·N))·Σ_{k>0} (2πf_k)²·a_k²·|S_k|²,
//
// the sum over the bins that are used, 100 Hz to 10 kHz; the gains a_k turn
// S_k by nothing and so take nothing from it, whether they are known or not
// (Kay, 1993, section 3.11, has the integral over all frequencies). The two
// channels' noise is independent, so var(u−t) ≥ 1/I_a + 1/I_b.
func TestBoundOfDelayMatch(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many records")
	}
	const rateHz, a, b, delayS = 48000.0, 1.0, 0.8, 3.7e-6
	spec := testsignals.New(testsignals.Sweep, rateHz, -6, 1)
	sig := mustSignal(t, spec)
	played, err := NewPlayed(sig)
	if err != nil {
		t.Fatal(err)
	}
	late := through(sig.Samples, rateHz, delayed(delayS))
	curvature := 0.0
	for k, z := range played.inv {
		if f := float64(k) * played.binHz; f >= delayLowHz && f <= delayHighHz {
			curvature += 2 * sq(2*math.Pi*f) / sqAbs(z) / (rateHz / played.binHz)
		}
	}
	meanSquare := sq(spec.Amplitude()) / 2
	againstBound(t, 20, func(e *efficiency, noise float64, rng *rand.Rand) {
		s := noise * math.Sqrt(meanSquare)
		x, y := make([]float64, len(late)), make([]float64, len(late))
		for i := range x {
			x[i], y[i] = a*sig.Samples[i], b*late[i]
		}
		addNoise(x, s, rng)
		addNoise(y, s, rng)
		ref, err := played.Deconvolve(x, 0)
		if err != nil {
			t.Fatal(err)
		}
		out, err := played.Deconvolve(y, 0)
		if err != nil {
			t.Fatal(err)
		}
		line, err := fitDelay(denseRatio(out, ref))
		if err != nil {
			t.Fatal(err)
		}
		e.add("delay match", line.delayS-delayS, s*s/curvature*(1/(a*a)+1/(b*b)))
	})
}
