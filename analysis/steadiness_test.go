package analysis

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// toneTake is a take of a tone of freqHz, changed sample by sample.
func toneTake(t *testing.T, freqHz, noise float64, change func(v, seconds float64) float64) Result {
	t.Helper()
	spec := testsignals.New(testsignals.Tone, 48000, -12, 0)
	spec.FrequencyHz = freqHz
	sig := mustSignal(t, spec)
	x := padded(sig, 200, 2000)
	rng := rand.New(rand.NewPCG(2, 3))
	for i, v := range x {
		x[i] = change(v, float64(i-200-sig.Body.Start)/48000)
	}
	addNoise(x, noise, rng)
	return mustTone(t, &Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A"}, Samples: [][]float64{x}, OffsetFrames: 200})
}

// Both outputs wobble: the match of the two is refused once, not in two reasons
// run together.
func TestUnsteadyOutputsRefuseTheirMatchOnce(t *testing.T) {
	spec := testsignals.New(testsignals.Tone, 48000, -12, 0)
	sig := mustSignal(t, spec)
	x := padded(sig, 200, 2000)
	for i, v := range x {
		x[i] = v * (1 + 0.5*math.Sin(2*math.Pi*0.8*float64(i)/48000))
	}
	addNoise(x, 1e-5, rand.New(rand.NewPCG(2, 3)))
	res := mustTone(t, &Recording{Signal: sig, RateHz: 48000, Outputs: []string{"A", "B"}, Samples: [][]float64{x, x}, OffsetFrames: 200})
	for _, r := range res.Refused {
		if n := strings.Count(r.Reason, "the tone's level is not steady"); n != 1 {
			t.Errorf("%s at %s is refused with %q", r.Quantity, r.Output, r.Reason)
		}
	}
	if len(res.Refused) == 0 {
		t.Error("nothing is refused")
	}
}

func TestUnsteadyToneHasNoLevel(t *testing.T) {
	for name, change := range map[string]func(v, s float64) float64{
		"tremolo": func(v, s float64) float64 { return v * (1 + 0.5*math.Sin(2*math.Pi*0.8*s)) },
		"step":    func(v, s float64) float64 { return v * map[bool]float64{true: 0.5, false: 1}[s > 1.2] },
		"gap":     func(v, s float64) float64 { return v * map[bool]float64{true: 0, false: 1}[s > 1 && s < 1.1] },
	} {
		res := toneTake(t, 1000, 1e-5, change)
		if len(res.Readings) > 0 || len(res.Refused) == 0 || !strings.Contains(res.Refused[0].Reason, "not steady") {
			t.Errorf("%s: read %d, refused %v", name, len(res.Readings), res.Refused)
		}
	}
	// A little is counted: the interval must hold both ends.
	res := toneTake(t, 1000, 1e-6, func(v, s float64) float64 { return v * (1 + 0.005*math.Sin(2*math.Pi*0.7*s)) })
	if g := readingOf(t, res, Gain); g.Uncertainty < DBFromRelative(0.005) {
		t.Errorf("a level that moves by 0.04 dB is stated to ± %.2g dB", g.Uncertainty)
	}
	res = toneTake(t, 1000, 1e-4, func(v, _ float64) float64 { return v })
	if g := readingOf(t, res, Gain); g.Uncertainty > 5e-4 || math.Abs(g.Value) > 2*g.Uncertainty {
		t.Errorf("a steady tone is stated as %.2g ± %.2g dB", g.Value, g.Uncertainty)
	}
}

func TestTHDNeedsHarmonicsInBand(t *testing.T) {
	same := func(v, _ float64) float64 { return v }
	for _, r := range toneTake(t, 12000, 1e-6, same).Readings {
		if r.Quantity == THD {
			t.Errorf("a tone of 12 kHz at 48 kHz has no harmonic in the band, THD is stated as %g %%", r.Value)
		}
	}
	bent := func(v, _ float64) float64 { return v + 0.04*v*v }
	r := readingOf(t, toneTake(t, 6000, 1e-6, bent), THD)
	// v² of a tone of amplitude a gives a second harmonic of 0.04·a²/2.
	a := math.Pow(10, -12./20)
	if want := 100 * 0.04 * a / 2; math.Abs(r.Value-want) > 0.01*want || !strings.Contains(r.Note, "2 to 3 only") {
		t.Errorf("THD is %.5f %% (%s), want %.5f and which harmonics it sums", r.Value, r.Note, want)
	}
}

// A line in what is left does not make THD+N uncertain: 1 % of second
// harmonic, in closed form.
func TestTHDNOfALineIsCertain(t *testing.T) {
	a := math.Pow(10, -12./20)
	k := 0.02 / a
	r := readingOf(t, toneTake(t, 1000, 1e-6, func(v, _ float64) float64 { return v + k*v*v }), THDN)
	if want := 100 * math.Sin(math.Atan(0.01)); math.Abs(r.Value-want) > 2*r.Uncertainty+2e-4 || r.Uncertainty > 1e-2 {
		t.Errorf("THD+N is %.5f ± %.2g %%, want %.5f", r.Value, r.Uncertainty, want)
	}
}
