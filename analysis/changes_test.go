package analysis

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// changed is a board of testdata/changedboard.py.
type changed struct {
	name string
	// at, lasts, edge are seconds of the sweep, depth a share of the gain.
	at, lasts, edge, depth, tremolo, secondHarmonic float64
	noise                                           string
	noiseBelowDB                                    float64
	lowPass                                         float64
	order                                           int
	mains                                           string
	seed                                            int
	// says is what the refusal says; "" where the curve must hold the truth.
	says string
}

// sweptBySciPy reads a recording that SciPy made, and the truth in dB on its grid.
func sweptBySciPy(t *testing.T, spec testsignals.Spec, c changed) (Result, []float64) {
	t.Helper()
	sig := mustSignal(t, spec)
	grid := Grid(float64(spec.RateHz))
	if c.lowPass == 0 {
		c.lowPass = 6000
	}
	out := scipyFile(t, "changedboard.py", sig.Samples, map[string]any{
		"rate": spec.RateHz, "grid": grid, "body": sig.Body.Start, "amplitude": spec.Amplitude(), "seed": c.seed,
		"order": max(1, c.order), "high_pass": 25, "low_pass": c.lowPass, "change": []float64{c.at, c.lasts, c.edge, c.depth}, "tremolo": c.tremolo,
		"second_harmonic": c.secondHarmonic, "noise": c.noise, "noise_below_db": c.noiseBelowDB, "mains": c.mains,
	})
	rec := &Recording{Signal: sig, RateHz: float64(spec.RateHz), Outputs: []string{"A"}, OffsetFrames: 300, Samples: [][]float64{out[len(grid):]}}
	res, err := SweepResult(rec, nil, DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	return res, out[:len(grid)]
}

// curveHeld holds the response from 20 Hz to 20 kHz against the truth. One point in three
// hundred may be off by more than 1.5 U: so many noise alone puts there.
func curveHeld(t *testing.T, res Result, truth []float64) (worst float64, c Curve) {
	t.Helper()
	for _, c = range res.Curves {
		if c.Quantity != Response {
			continue
		}
		out, bounds, broken := 0, 0, 0
		for i, f := range c.FrequencyHz {
			if f < 20 || f > 20000 {
				continue
			}
			if at(c.UpperBound, i) {
				if bounds++; truth[i] > c.Value[i]+5e-4 {
					broken++
				}
				continue
			}
			// The gate's own floor: 0.0005 dB.
			off := math.Abs(c.Value[i]-truth[i]) / math.Hypot(c.Uncertainty[i], 5e-4)
			if worst = math.Max(worst, off); off > 1.5 {
				out++
			}
		}
		if out > 1 {
			t.Errorf("%d points are off by more than 1.5 U, worst %.1f", out, worst)
		}
		// A bound holds in 97.5 %; neighbours hold the same noise.
		if broken > 2+bounds/20 {
			t.Errorf("%d of %d bounds do not hold", broken, bounds)
		}
		return worst, c
	}
	t.Errorf("no response: %v", res.Refused)
	return 0, c
}

// Boards and noise from SciPy; what changes is known. Without pilot tones, as sweeps
// were made before, nothing can be refused, but the uncertainty holds it.
func TestOutsideChangesInsideTheSweepAreToldOrHeld(t *testing.T) {
	if testing.Short() {
		t.Skip("eleven sweeps from SciPy")
	}
	plain := testsignals.New(testsignals.Sweep, 48000, -12, 0)
	for _, c := range []changed{
		{name: "2 % for 0.3 s, soft", at: 3.4, lasts: 0.3, edge: 0.1, depth: 0.02, says: "the gain changes by -0.1"},
		{name: "50 % for 50 ms where a pilot is blind", at: 2.85, lasts: 0.05, edge: 0.02, depth: 0.5, says: "the gain changes by -"},
		{name: "5 % for 0.3 s in the bass", at: 1.3, lasts: 0.3, edge: 0.05, depth: 0.05, says: "the gain changes by -0.4"},
		{name: "a step of 0.5 %", at: 2.5, lasts: 60, edge: 0.001, depth: 0.005},
		{name: "a tremolo of 0.5 %", tremolo: 0.005},
		{name: "2 % for 0.1 s in much noise", at: 2.9, lasts: 0.1, edge: 0.05, depth: 0.02, noiseBelowDB: 45},
		{name: "nothing, 1 % of second harmonic", secondHarmonic: 0.01, lowPass: 2000},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.noise, c.seed = "white", 5
			if c.noiseBelowDB == 0 {
				c.noiseBelowDB = 75
			}
			res, truth := sweptBySciPy(t, plain, c)
			if c.says != "" {
				if len(res.Refused) == 0 || !strings.Contains(res.Refused[0].Reason, c.says) {
					t.Errorf("refused %v, want %q", res.Refused, c.says)
				}
			} else if worst, curve := curveHeld(t, res, truth); worst == 0 || c.depth+c.tremolo == 0 && curve.Uncertainty[NearestIndex(curve.FrequencyHz, 1000)] > 0.03 {
				t.Errorf("worst %.2f U, note %q", worst, curve.Note)
			}
			if c.secondHarmonic != 0 || c.noiseBelowDB < 60 {
				return
			}
			res, truth = sweptBySciPy(t, plain.WithoutPilots(), c)
			if _, curve := curveHeld(t, res, truth); !strings.Contains(curve.Note, "without pilot tones") {
				t.Errorf("without pilot tones the note is %q", curve.Note)
			}
		})
	}
}

// Noise of any colour is no event: SciPy's, and the mains as it was
// (testdata/real-mains). COLOUR_TAKES is how many of each.
func TestOutsideNoiseOfAnyColourIsNoEvent(t *testing.T) {
	if testing.Short() {
		t.Skip("six sweeps from SciPy")
	}
	takes, _ := strconv.Atoi(os.Getenv("COLOUR_TAKES"))
	records := []string{"010-168153", "023-220184"}
	refused, wide, all := 0, 0, 0
	for seed := range max(1, takes) {
		for k, noise := range []string{"white", "pink", "steep", "modulated hum", "two mains", "real mains"} {
			c := changed{noise: noise, seed: 100*seed + k, noiseBelowDB: 40 + float64((7*seed+11*k)%50),
				mains: "testdata/real-mains/" + records[seed%2] + ".wav"}
			res, truth := sweptBySciPy(t, testsignals.New(testsignals.Sweep, 48000, -12, 0), c)
			if all++; len(res.Refused) > 0 {
				refused++
				t.Logf("%s %.0f dB down, seed %d: %s", noise, c.noiseBelowDB, c.seed, res.Refused[0].Reason)
				continue
			}
			worst, curve := curveHeld(t, res, truth)
			u := curve.Uncertainty[NearestIndex(curve.FrequencyHz, 1000)]
			if u > 0.1 {
				wide++
			}
			t.Logf("%s %.0f dB down: U %.4f dB at 1 kHz, worst %.2f U", noise, c.noiseBelowDB, u, worst)
		}
	}
	t.Logf("%d takes: %d refused, %d wider than 0.1 dB at 1 kHz", all, refused, wide)
	if refused > all/1000 || wide > all/10 {
		t.Errorf("of %d takes %d were refused, %d are wider than 0.1 dB", all, refused, wide)
	}
}
