package simboard

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
)

// bandPower is the power of x between two frequencies, in units squared, and
// how many bins it comes from: a periodogram under a Hann window.
func bandPower(spectrum []complex128, lowHz, highHz, stepHz float64) (power float64, bins int) {
	for k := int(math.Ceil(lowHz / stepHz)); k < int(highHz/stepHz); k++ {
		power += square(spectrum[k])
		bins++
	}
	return power, bins
}

// hannSpectrum is scaled so that the sum of |X|² over bins is the power.
func hannSpectrum(x []float64) []complex128 {
	n := len(x)
	w, sum := make([]float64, n), 0.0
	for i, v := range x {
		h := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
		w[i] = v * h
		sum += h * h
	}
	bins := newTransform(n, 48000).forward(w)
	for i := range bins {
		bins[i] *= complex(math.Sqrt(2/(sum*float64(n))), 0)
	}
	return bins
}

// Recorded noise against Truth.RecordedNoiseDensity, band by band, in every
// patch: neighbouring bins of a Hann periodogram are dependent so that K of
// them tell the power within √(1.94/K) (Welch 1967; 1.94 = Σ of the squared
// correlations of neighbouring bins, 1 + 2·(4/9 + 1/36)), four and a half
// times which is allowed.
func TestNoiseHasItsDensity(t *testing.T) {
	if testing.Short() {
		t.Skip("long takes")
	}
	c, err := Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	for i := range c.Board.Outputs {
		c.Board.Outputs[i].Hum = Hum{}
		c.Interface.Inputs[i].Hum = nil
	}
	c.Board.CableFarads = 2e-9 // so that the front end shapes it
	s := bench(t, c)
	truth := s.Truth()
	sig := silence(t, 48000, 6)
	worst := 0.0
	for _, patch := range []capture.Patch{capture.ToBoard, capture.Swapped, capture.Loopback, capture.Terminated} {
		got := take(t, s, sig, patch, "")
		for ch := range got.Samples {
			const n, stepHz = 240000, 0.2
			bins := hannSpectrum(got.Samples[ch][sig.Body.Start+12000:][:n])
			peak := volts(truth.InputFullScaleDBu(ch+1)) * math.Sqrt2
			for low := 10.0; low < 23000; low *= 1.5 {
				high := math.Min(low*1.5, 23900)
				power, count := bandPower(bins, low, high, stepHz)
				want := 0.0
				for i := range 200 {
					want += truth.RecordedNoiseDensity(patch, ch+1, low+(high-low)*(float64(i)+0.5)/200) / 200
				}
				want *= float64(count) * stepHz
				sigmas := (power*peak*peak/want - 1) / math.Sqrt(1.94/float64(count))
				worst = math.Max(worst, math.Abs(sigmas))
				if !(math.Abs(sigmas) < 4.5) {
					t.Errorf("%s, input %d, %.0f to %.0f Hz: %.1f standard deviations from its density", patch, ch+1, low, high, sigmas)
				}
			}
		}
	}
	t.Logf("worst band is off by %.1f standard deviations", worst)
}

// What the buffer and all ahead of it make is common to both outputs; with a
// noisy buffer the outputs' noises are one signal.
func TestFrontNoiseIsCommon(t *testing.T) {
	c := bare()
	c.Board.Buffer.NoiseVolts = 1e-6
	sig := silence(t, 48000, 2)
	got := take(t, bench(t, c), sig, capture.ToBoard, "")
	a, b := got.Samples[0][sig.Body.Start:sig.Body.End], got.Samples[1][sig.Body.Start:sig.Body.End]
	var ab, aa, bb float64
	for i := range a {
		ab, aa, bb = ab+a[i]*b[i], aa+a[i]*a[i], bb+b[i]*b[i]
	}
	near(t, "correlation", ab/math.Sqrt(aa*bb), 1, 1e-4)
}

// White noise of a level gives that level back when integrated, and 1/f
// noise the logarithm of the band's ends: ∫ 1/f = ln(1000).
func TestNoiseVolts(t *testing.T) {
	white := func(float64) float64 { return whiteDensity(-100) }
	near(t, "white, dBu", dBu(NoiseVolts(white, nil)), -100, 1e-5)
	pink := func(f float64) float64 { return 1 / f }
	near(t, "pink", NoiseVolts(pink, nil), math.Sqrt(math.Log(1000)), 1e-9)
	half := func(float64) float64 { return 0.5 }
	near(t, "weighted", NoiseVolts(pink, half), math.Sqrt(math.Log(1000))/2, 1e-9)
	in := Input{NoiseDBu: -105, NoiseCornerHz: 300}
	near(t, "an input's own, dBu", dBu(NoiseVolts(in.noise(), nil)), -105, 1e-4)
}

// 1/f and current noise by hand at one frequency: en²·(1+fc/f) + (in·|Z|)²,
// Z of 10 kΩ beside 1 nF at its corner being 10 kΩ/√2.
func TestBufferNoise(t *testing.T) {
	c := bare()
	c.Board.Source.Ohms, c.Board.CableFarads = 10e3, 1e-9
	c.Board.Buffer.NoiseVolts, c.Board.Buffer.NoiseCornerHz, c.Board.Buffer.NoiseAmps = 20e-9, 1000, 3e-12
	f := 15915.494
	want := 400e-18*(1+1000/f) + 9e-24*1e8/2
	near(t, "density over that by hand", bench(t, c).Truth().NoiseDensity("A", f)/want, 1, 2e-5)
}

// A tone of a linewidth is a Lorentzian of that full width at half maximum:
// half of its power lies within half the width of its centre.
func TestToneLinewidth(t *testing.T) {
	c := bare()
	c.Interface.Inputs[0].Tones = []Tone{{FrequencyHz: 6000, VoltsRMS: 0.1, LinewidthHz: 8}}
	sig := silence(t, 48000, 21)
	got := take(t, bench(t, c), sig, capture.Terminated, "").Samples[0]
	bins := hannSpectrum(got[sig.Body.Start+4800:][:960000])
	total, _ := bandPower(bins, 5000, 7000, 0.05)
	inner, _ := bandPower(bins, 5996, 6004, 0.05)
	near(t, "level in V", math.Sqrt(total)*volts(12)*math.Sqrt2, 0.1, 0.0005)
	// 20 s of an 8 Hz line are some 500 independent pieces.
	near(t, "share within the width", inner/total, 0.5, 0.07)
	lone := cmplx.Abs(bins[120000])
	if lone*lone > 0.1*total {
		t.Error("the line is not spread")
	}
}
