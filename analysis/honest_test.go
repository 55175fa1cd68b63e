package analysis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// White and pink noise of known density: 95.45 % of the points of the density curve
// hold it. Neighbouring bins under a Hann window are alike, and a mean of few powers is
// skewed: without either one point in nine lay outside. The limits are three standard
// deviations of a share of some 2,000 points of which seven count.
func TestNoiseDensityHoldsAKnownDensity(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 8))
	for colour, h := range map[string]func(float64) complex128{
		"white": gainOf(1),
		"pink":  func(f float64) complex128 { return complex(math.Sqrt(100/math.Max(f, 5)), 0) },
	} {
		outside, of := 0, 0
		for range 3 {
			x := make([]float64, 3*48000)
			addNoise(x, 1e-4, rng)
			s, err := AnalyseSilence(through(x, 48000, h), 48000, SilenceOptions{NominalMainsHz: 50})
			if err != nil {
				t.Fatal(err)
			}
			for i, f := range s.Density.FrequencyHz {
				if f < 25 || f > 18000 {
					continue
				}
				of++
				if off := DB(s.Density.VoltsPerRootHz[i] / (1e-4 / math.Sqrt(24000) * cmplx.Abs(h(f)))); math.Abs(off) > CoverageK*DBFromRelative(s.Density.RelStd[i]) {
					outside++
				}
			}
		}
		share := float64(outside) / float64(of)
		t.Logf("%s: %.2f %% of %d points outside", colour, 100*share, of)
		if share < 0.02 || share > 0.075 {
			t.Errorf("%s: %.2f %% of %d points lie outside", colour, 100*share, of)
		}
	}
}

// Hum 60 and 80 dB over the noise of a third octave, whose bands have edges in closed
// form (IEC 61260-1): a band without a line holds noise alone, whatever leaks.
func TestThirdOctavesBesideStrongHum(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	for _, hum := range []float64{1e-2, 1e-1} {
		lines := map[float64]float64{50.013: hum, 150.039: hum / 5, 250.065: hum / 12, 450.117: hum / 20}
		x := make([]float64, 8*48000)
		addNoise(x, 1e-5, rng)
		for f, rms := range lines {
			for i, v := range sine(len(x), 48000, f, math.Sqrt2*rms, f) {
				x[i] += v
			}
		}
		s, err := AnalyseSilence(x, 48000, SilenceOptions{NominalMainsHz: 50})
		if err != nil {
			t.Fatal(err)
		}
		half := math.Pow(10, 0.05)
		for _, b := range s.ThirdOctaves {
			power := 1e-10 / 24000 * b.CentreHz * (half - 1/half)
			for f, rms := range lines {
				if f > b.CentreHz/half && f < b.CentreHz*half {
					power += rms * rms
				}
			}
			// A steady line is read to 0.001 dB; noise to twice what is stated.
			if off := DB(b.RMS.Value / math.Sqrt(power)); math.Abs(off) > 0.001+4*DBFromRelative(b.RMS.Std/b.RMS.Value) {
				t.Errorf("hum of %g V: %.0f Hz is off by %.3f dB", hum, b.CentreHz, off)
			}
		}
	}
}

// A tone through tanh, whose fundamental and harmonics are Fourier's integrals in closed
// form, here summed over a cycle: the gain is known as far as noise leaves it, by the
// Cramér-Rao bound, and distortion that is always the same is no noise.
func TestDistortionIsNoNoiseOfAGain(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 8))
	const noise = 1e-5
	for _, drive := range []float64{1, 16} {
		for _, f := range []float64{100, 997, 1000} {
			spec := testsignals.New(testsignals.Tone, 48000, -12, 4)
			spec.FrequencyHz = f
			sig := mustSignal(t, spec)
			bend := func(v float64) float64 { return math.Tanh(drive*v) / drive }
			y := padded(sig, 300, 3000)
			for i, v := range y {
				y[i] = bend(v)
			}
			addNoise(y, noise, rng)
			res, err := ToneResult(&Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A"}, Samples: [][]float64{y}, OffsetFrames: 300})
			if err != nil {
				t.Fatal(err)
			}
			truth := 0.0
			const steps = 4096
			for k := range steps {
				phase := 2 * math.Pi * (float64(k) + 0.5) / steps
				truth += bend(sig.Amplitude()*math.Sin(phase)) * math.Sin(phase) * 2 / steps
			}
			least := DBFromRelative(noise * math.Sqrt(2/(3.7*48000)) / truth)
			for _, r := range res.Readings {
				if r.Quantity != Gain {
					continue
				}
				if off := math.Abs(r.Value - DB(truth/sig.Amplitude())); off > 2*r.Uncertainty || r.Uncertainty > 2*CoverageK*least {
					t.Errorf("driven %g at %g Hz: %.7f ± %.2g dB is off by %.2g; the bound is %.2g", drive, f, r.Value, r.Uncertainty, off, CoverageK*least)
				}
			}
		}
	}
}

// A board's second and third harmonics in closed form, a²/2 and a³/4 of the bends, with
// the mains' 40th and 60th lines on top of them: the figure holds the truth, or is a
// bound that does.
func TestTHDWhereTheMainsHasItsLines(t *testing.T) {
	for _, c := range []struct{ mainsHz, hum float64 }{{50, 0}, {50, 1e-4}, {50.003, 1e-3}} {
		rng := rand.New(rand.NewPCG(7, 8))
		spec := testsignals.New(testsignals.Tone, 48000, -12, 3)
		spec.FrequencyHz = 1000
		sig := mustSignal(t, spec)
		y := padded(sig, 300, 3000)
		for i, v := range y {
			y[i] = v + 2e-3*v*v + 3e-3*v*v*v
		}
		for h := 1; h <= 80; h++ {
			for i, v := range sine(len(y), 48000, c.mainsHz*float64(h), c.hum/math.Sqrt(float64(h)), 2*math.Pi*rng.Float64()) {
				y[i] += v
			}
		}
		addNoise(y, 1e-5, rng)
		res, err := ToneResult(&Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A"}, Samples: [][]float64{y}, OffsetFrames: 300})
		if err != nil {
			t.Fatal(err)
		}
		a := sig.Amplitude()
		third := 3e-3 * a * a * a / 4
		truth := 100 * math.Hypot(2e-3*a*a/2, third) / (a + 3*third)
		for _, r := range res.Readings {
			if r.Quantity == THD {
				holds(t, "mains", r, truth)
				if c.hum == 0 && r.Uncertainty > 0.01*truth {
					t.Errorf("without hum it is only known within %g %%", r.Uncertainty)
				}
			}
		}
	}
}

// A linear board has no harmonics: each point is a bound. One that bends has those of
// the closed form, where they stand out.
func TestHarmonicsOfASweepOrBounds(t *testing.T) {
	spec := testsignals.New(testsignals.Sweep, 48000, -12, 3)
	for _, second := range []float64{0, 0.01} {
		rec := recorded(t, spec, 3e-6, 9, gainOf(1))
		rng := rand.New(rand.NewPCG(9, 9))
		for i, v := range rec.Samples[0] {
			rec.Samples[0][i] += second*v*v + 1e-6*rng.NormFloat64()
		}
		res, err := SweepResult(rec, nil, DefaultBand)
		if err != nil {
			t.Fatal(err)
		}
		bounds, points := 0, 0
		for _, c := range res.Curves {
			if c.Quantity != HarmonicLevel {
				continue
			}
			for i, v := range c.Value {
				points++
				if c.UpperBound[i] {
					bounds++
					continue
				}
				truth := DB(second * testsignals.SweepAmplitude(rec.Signal.Spec) / 2)
				if second == 0 || c.Harmonic != 2 || math.Abs(v-truth) > 2*c.Uncertainty[i]+0.01 {
					t.Errorf("harmonic %d at %.0f Hz is %.2f ± %.2g dB, want %.2f for the second", c.Harmonic, c.FrequencyHz[i], v, c.Uncertainty[i], truth)
				}
			}
		}
		if second == 0 && bounds != points || second > 0 && bounds > points*4/5 {
			t.Errorf("bend %g: %d of %d points are bounds", second, bounds, points)
		}
	}
}

// The phase from 10 to 30 Hz of boards with low corners of one to three orders, in
// closed form and nearly without noise, where the gate is all that errs: it lies inside
// what is stated.
func TestPhaseAtTenHertz(t *testing.T) {
	for _, corners := range [][]float64{{3}, {9}, {5, 7}, {4, 12, 20}} {
		h := lowPass(20000)
		for _, c := range corners {
			h = chain(h, highPass(c))
		}
		rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-7, 3, h)
		res, err := SweepResult(rec, nil, DefaultBand)
		if err != nil {
			t.Fatal(err)
		}
		delayS := 0.0
		for _, r := range res.Readings {
			if r.Quantity == Delay {
				delayS = r.Value*1e-6 - rec.OffsetFrames/rec.RateHz
			}
		}
		for _, c := range res.Curves {
			for i, f := range c.FrequencyHz {
				if c.Quantity != Response || f > 30 {
					continue
				}
				want := cmplx.Phase(h(f)*cis(2*math.Pi*f*delayS)) * 180 / math.Pi
				off, u := math.Abs(math.Remainder(c.PhaseDeg[i]-want, 360)), c.PhaseUncertaintyDeg[i]
				if off > u || u > 0.1 {
					t.Errorf("corners %v: phase at %.1f Hz is %.4f ± %.4f°, off by %.4f°", corners, f, c.PhaseDeg[i], u, off)
				}
			}
		}
	}
}
