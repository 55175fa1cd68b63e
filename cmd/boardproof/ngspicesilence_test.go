package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/capture/wavfile"
)

// A hum loop: the mains induces a voltage in the loop that the shields of two
// leads make; the current drops a part of it over the shield of output B's
// lead, in series with the signal.
const (
	loopOhms, loopHenrys  = 0.42, 30e-6
	shieldOhms            = 0.035
	outputOhms, inputOhms = 470.0, 10e3
	humHz                 = 50.3
	fullScaleDBu          = 12.0
)

// loopVolts are the peaks of the induced harmonics 1, 3, 5, …
var loopVolts = []float64{30e-3, 12e-3, 8e-3, 3e-3, 2e-3, 1e-3, 0.5e-3, 0.3e-3}

// humAtInput is the closed form: the RMS volts of the nth harmonic at the
// recorder's input, a divider behind a divider.
func humAtInput(n int) float64 {
	jw := complex(0, 2*math.Pi*humHz*float64(n))
	loop := complex(loopOhms, 0) + jw*loopHenrys
	// The output's own path loads the shield.
	shield := shieldOhms * (outputOhms + inputOhms) / (shieldOhms + outputOhms + inputOhms)
	share := complex(shield, 0) / (loop + complex(shield, 0)) * complex(inputOhms/(outputOhms+inputOhms), 0)
	return loopVolts[n/2] / math.Sqrt2 * cmplx.Abs(share)
}

// humLoop lets ngspice compute the recorder's input voltage at each frame of
// 48 kHz. The steps are those of the frames: at the 15th harmonic the
// trapezoidal rule is right to 1e-4 of what is itself a small inductance.
func humLoop(t *testing.T, seconds float64) []float64 {
	var net strings.Builder
	net.WriteString("* hum loop\n")
	for i, v := range loopVolts {
		from := "0"
		if i > 0 {
			from = fmt.Sprintf("e%d", i-1)
		}
		fmt.Fprintf(&net, "v%d e%d %s sin(0 %g %g)\n", i, i, from, v, humHz*float64(2*i+1))
	}
	fmt.Fprintf(&net, "rloop e%d l %g\nlloop l shield %g\nrshield shield 0 %g\nrout shield in %g\nrin in 0 %g\n",
		len(loopVolts)-1, loopOhms, loopHenrys, shieldOhms, outputOhms, inputOhms)
	h := 1.0 / 48000
	fmt.Fprintf(&net, ".options method=trap trtol=1e9 reltol=1e-6 abstol=1e-15 vntol=1e-12\n.save v(in)\n.tran %g %g 0 %.17g uic\n.end\n", seconds, seconds, h)
	var x []float64
	simulate(t, net.String(), func(v []float64) {
		if v[0] > 0.5*h && v[0] < seconds-h {
			x = append(x, v[1])
		}
	})
	return x
}

func TestMeasureSilenceAgreesWithNgspice(t *testing.T) {
	if testing.Short() {
		t.Skip("ngspice computes for some time")
	}
	needNgspice(t)
	// The loop settles in 0.1 ms; the first tenth of a second is left out.
	volts := humLoop(t, 10.1)[4800:]
	full := math.Sqrt(0.6) * math.Pow(10, fullScaleDBu/20) * math.Sqrt2
	noise := rand.New(rand.NewPCG(50, 3))
	a, b := make([]float64, len(volts)), make([]float64, len(volts))
	for i, v := range volts {
		a[i], b[i] = 1e-6*noise.NormFloat64(), v/full+1e-6*noise.NormFloat64()
	}
	recorded := writeWAV(t, 48000, wavfile.Float32, a, b)
	doc := measured(t, "measure", "silence", "--recorded", recorded, "--outputs", "A=1,B=2", "--input-full-scale", "12dBu")

	mains := doc.reading(t, analysis.MainsFrequency, "B")
	// The uncertainty allows for a recorder's clock; this one is right.
	if math.Abs(mains.Value-humHz) > 1e-4 {
		t.Errorf("mains is at %g ± %g Hz, ngspice's at %g Hz", mains.Value, mains.Uncertainty, humHz)
	}
	worst, total := 0.0, 0.0
	for i := range loopVolts {
		n := 2*i + 1
		total += math.Pow(humAtInput(n), 2)
		r, ok := harmonicOf(doc, "B", n)
		want := dBuOf(humAtInput(n))
		if !ok || r.UpperBound || math.Abs(r.Value-want) > 0.002+1.5*r.Uncertainty || r.Uncertainty > 0.2 {
			t.Errorf("harmonic %d is %.4f ± %.4f dBu (upper bound: %t), closed form %.4f dBu", n, r.Value, r.Uncertainty, r.UpperBound, want)
		}
		worst = math.Max(worst, math.Abs(r.Value-want))
	}
	for n := 2; n <= 40; n++ {
		if r, ok := harmonicOf(doc, "B", n); ok && n%2 == 0 && !r.UpperBound && r.Value > -110 {
			t.Errorf("harmonic %d, which is not there, is %.1f dBu", n, r.Value)
		}
	}
	hum := doc.reading(t, analysis.Hum, "B")
	if want := dBuOf(math.Sqrt(total)); math.Abs(hum.Value-want) > 0.002+hum.Uncertainty {
		t.Errorf("hum is %.4f ± %.4f dBu, closed form %.4f dBu", hum.Value, hum.Uncertainty, want)
	}
	// White noise of 1e-6 over half the rate; what lies in 20 Hz to 20 kHz.
	hiss := doc.reading(t, analysis.Hiss, "B")
	if want := dBuOf(1e-6 * full * math.Sqrt(19980.0/24000)); hiss.Weighting != "none" || math.Abs(hiss.Value-want) > 1.5*hiss.Uncertainty {
		t.Errorf("hiss is %.3f ± %.3f dBu, drawn %.3f dBu", hiss.Value, hiss.Uncertainty, want)
	}
	t.Logf("mains %.6f ± %.1g Hz, ngspice %g; %d harmonics from %.1f to %.1f dBu: worst deviation %.4f dB; hum %.4f dBu, closed form %.4f",
		mains.Value, mains.Uncertainty, humHz, len(loopVolts), dBuOf(humAtInput(15)), dBuOf(humAtInput(1)), worst, hum.Value, dBuOf(math.Sqrt(total)))
	for _, r := range doc.Readings {
		if r.Output == "A" && r.Quantity == analysis.Hum && !r.UpperBound && r.Value > -110 {
			t.Errorf("output A, which has no hum, shows %.1f dBu of it", r.Value)
		}
	}
}

func harmonicOf(doc printed, output string, n int) (analysis.Reading, bool) {
	for _, r := range doc.Readings {
		if r.Quantity == analysis.HumHarmonic && r.Output == output && r.Harmonic == n {
			return r, true
		}
	}
	return analysis.Reading{}, false
}
