package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"boardproof/analysis"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// splitBoard is a board of the simulated kind, drawn here and not by simboard:
// a source of 7 kΩ, cables, a buffer, output A by a build-out resistor and
// output B by a transformer with its secondary turned round.
const splitBoard = `
vac in src dc 0 ac 1
rsource in front 7k
ccable front 0 550p
rbuffer front 0 1meg
cbuffer front 0 47p
ebuffer inside 0 front 0 1
rinside inside ahead 47
ccouple ahead out 22u
rbleed out 0 100k
ra out a 470
rloada a 0 220k
cloada a 0 1n
rb out wound 330
rprimary wound prim 62
cwinding wound 0 250p
lprimary prim 0 12
lsecondary 0 sec 12
kcore lprimary lsecondary 0.9997
rsecondary sec b 68
rloadb b 0 18k
cloadb b 0 1.2n
`

const (
	// stepsPerFrame is how many steps of ngspice's integration make one frame.
	// They may be few, as the rule's own error is known and allowed for.
	stepsPerFrame = 4
	// gridFrom is where, in steps, the equal steps begin: ngspice begins with a
	// tenth of one, twice, and then doubles.
	gridFrom = 0.6
)

// playThrough lets ngspice compute the circuit's outputs for the signal of s
// in the time domain, by the trapezoidal rule in equal steps that meet each
// frame, and returns source and outputs at each frame.
//
// Control of the step by error is off (trtol), so the rule's own error is all
// that is left, and that is known: a frequency of ω is computed as (2/h)·tan(ωh/2).
// A first step of h/16 makes ngspice's doubling steps meet the grid.
func playThrough(t *testing.T, circuit string, s testsignals.Spec) (src, a, b []float64) {
	t.Helper()
	h := 1 / (float64(s.RateHz) * stepsPerFrame)
	frames := testsignals.LayoutOf(s).Frames
	endS := (float64(frames*stepsPerFrame) + gridFrom) * h
	netlist := circuit + "bsweep src 0 v=" + sweepSource(s, gridFrom*h) + fmt.Sprintf(`
.options method=trap trtol=1e9 reltol=1e-6 abstol=1e-12 vntol=1e-12 chgtol=1e-14
.save v(src) v(a) v(b)
.tran %.17g %.17g 0 %.17g uic
.end
`, endS, endS, h)
	src, a, b = make([]float64, frames), make([]float64, frames), make([]float64, frames)
	filled, worst := 1, 0.0 // at frame 0 all is 0
	simulate(t, netlist, func(v []float64) {
		step := math.Round(v[0]/h - gridFrom)
		k := int(step) / stepsPerFrame
		if step < 1 || int(step)%stepsPerFrame != 0 || k >= frames {
			return
		}
		worst = math.Max(worst, math.Abs(v[0]-(step+gridFrom)*h))
		src[k], a[k], b[k] = v[1], v[2], v[3]
		filled++
	})
	if filled != frames || worst > 1e-9 {
		t.Fatalf("ngspice met %d of %d frames, off by up to %g s", filled, frames, worst)
	}
	t.Logf("ngspice's time drifts from the frames by up to %.2g s", worst)
	return src, a, b
}

func TestMeasureAgreesWithNgspice(t *testing.T) {
	if testing.Short() {
		t.Skip("ngspice computes for some time")
	}
	needNgspice(t)
	played, samples := exported(t, "sweep", "--rate", "48000", "--level", "-12dBFS", "--duration", "2")
	spec := testsignals.New(testsignals.Sweep, 48000, -12, 2)
	src, a, b := playThrough(t, "* split board\n"+splitBoard, spec)
	worst := 0.0
	for i := range samples {
		worst = math.Max(worst, math.Abs(src[i]-samples[i]))
	}
	t.Logf("ngspice's source against the exported file: worst %.2g of full scale", worst)
	// ngspice adds its time up step by step, which drifts by 1e-10 s: at the
	// sweep's end and amplitude that is 7e-6, in the response 0.002°.
	if len(samples) != len(src) || worst > 1e-5 {
		t.Fatalf("ngspice did not play the exported sweep: %d frames of %d, off by %g", len(src), len(samples), worst)
	}
	recorded := writeWAV(t, 48000, wavfile.Float32, a, b)
	common := []string{"--played", played, "--recorded", recorded, "--outputs", "A=1,B=2"}
	ac := newCurves(t)
	compareResponse(t, ac, measured(t, append([]string{"measure", "response"}, common...)...))
	compareSplit(t, ac, measured(t, append([]string{"measure", "split"}, common...)...))
}

// curves are ngspice's AC analysis of the board, as the trapezoidal rule in
// steps of 1/stepHz computes it: at the frequency that it takes each for,
// (stepHz/π)·tan(π·f/stepHz).
type curves struct {
	freqHz []float64 // evenly spaced in its logarithm
	a, b   []complex128
}

const stepHz = 48000.0 * stepsPerFrame

func newCurves(t *testing.T) curves {
	t.Helper()
	var c curves
	c.freqHz, c.a, c.b = acOf(t, "* split board\nbnone src 0 v=0\n"+splitBoard, ".ac oct 2400 8 24000")
	return c
}

// at returns both outputs at f; between neighbours 1/2400 of an octave apart
// their logarithms are straight.
func (c curves) at(f float64) (a, b complex128) {
	f = stepHz / math.Pi * math.Tan(math.Pi*f/stepHz)
	place := 2400 * math.Log2(f/c.freqHz[0])
	i := int(place)
	share := complex(place-float64(i), 0)
	between := func(z []complex128) complex128 { return z[i] * cmplx.Exp(share*cmplx.Log(z[i+1]/z[i])) }
	return between(c.a), between(c.b)
}

func compareResponse(t *testing.T, ac curves, doc printed) {
	for _, name := range []string{"A", "B"} {
		of := func(f float64) complex128 {
			a, b := ac.at(f)
			return map[string]complex128{"A": a, "B": b}[name]
		}
		c := doc.curve(t, analysis.Response, name)
		delay := doc.reading(t, analysis.Delay, name).Value * 1e-6
		total := func(i int) complex128 {
			return cmplx.Rect(math.Pow(10, c.Value[i]/20), (c.PhaseDeg[i]-360*c.FrequencyHz[i]*delay)*math.Pi/180)
		}
		d := deviate(c, total, of)
		d.check(t, "response of "+name)
		if gain := doc.reading(t, analysis.Gain, name); math.Abs(gain.Value-dBOf(cmplx.Abs(of(1000)))) > 0.001+gain.Uncertainty {
			t.Errorf("gain of %s is %g ± %g dB, ngspice has %g", name, gain.Value, gain.Uncertainty, dBOf(cmplx.Abs(of(1000))))
		}
	}
}

func compareSplit(t *testing.T, ac curves, doc printed) {
	ratio := func(f float64) complex128 {
		a, b := ac.at(f)
		return b / a
	}
	c := doc.curve(t, analysis.SplitDifference, "B")
	deviate(c, func(i int) complex128 {
		return cmplx.Rect(math.Pow(10, c.Value[i]/20), c.PhaseDeg[i]*math.Pi/180)
	}, ratio).check(t, "split difference")
	worst := 0.0
	for f := analysis.DefaultBand.LowHz; f <= analysis.DefaultBand.HighHz; f *= 1.001 {
		if m := dBOf(cmplx.Abs(ratio(f))); math.Abs(m) > math.Abs(worst) {
			worst = m
		}
	}
	for _, want := range []struct {
		quantity string
		value    float64
		within   float64
	}{
		{analysis.LevelMatch, dBOf(cmplx.Abs(ratio(1000))), 0.001},
		{analysis.WorstLevelMatch, worst, 0.01},
		{analysis.DelayMatch, delayOf(ratio) * 1e6, 0.01},
		{analysis.PolarityMatch, -1, 0},
	} {
		r := doc.reading(t, want.quantity, "B")
		t.Logf("%s %.6g ± %.2g %s, ngspice %.6g", r.Quantity, r.Value, r.Uncertainty, r.Unit, want.value)
		if r.Reference != "A" || math.Abs(r.Value-want.value) > want.within {
			t.Errorf("%s is %g %s, ngspice has %g", r.Quantity, r.Value, r.Unit, want.value)
		}
	}
}

// delayOf is the delay of B over A in seconds, by the definition that the
// reading has: the slope of a phase that is half a turn at 0 Hz, each hertz from
// 100 Hz to 10 kHz weighted as 1/f in least squares.
func delayOf(ratio func(f float64) complex128) float64 {
	sumPhase, sumHz := 0.0, 0.0
	for f := 100.0; f <= 10000; f++ {
		sumPhase += cmplx.Phase(-ratio(f))
		sumHz += f
	}
	return -sumPhase / sumHz / (2 * math.Pi)
}

// deviation is how far a curve is from an AC analysis.
type deviation struct {
	points                         int
	worstDB, atDB, worstDeg, atDeg float64
	// beyond counts the points that are further off than the program states.
	beyond int
}

// simulationDB is what ngspice's tolerances and the recording's 24 bits of
// mantissa leave: seen above 500 Hz, where nothing else is.
const simulationDB = 1e-5

// deviate compares from 20 Hz to 20 kHz.
func deviate(c analysis.Curve, got func(i int) complex128, want func(f float64) complex128) (d deviation) {
	for i, f := range c.FrequencyHz {
		if f < 20 || f > 20000 {
			continue
		}
		d.points++
		z := got(i) / want(f)
		db := math.Abs(dBOf(cmplx.Abs(z)))
		if db > d.worstDB {
			d.worstDB, d.atDB = db, f
		}
		if db > c.Uncertainty[i]+simulationDB {
			d.beyond++
		}
		if deg := math.Abs(cmplx.Phase(z)) * 180 / math.Pi; deg > d.worstDeg {
			d.worstDeg, d.atDeg = deg, f
		}
	}
	return d
}

func (d deviation) check(t *testing.T, what string) {
	t.Helper()
	text := fmt.Sprintf("%s, 20 Hz to 20 kHz, against ngspice's AC analysis: worst %.5f dB at %.0f Hz, %.4f° at %.0f Hz; beyond the stated uncertainty at %d of %d points",
		what, d.worstDB, d.atDB, d.worstDeg, d.atDeg, d.beyond, d.points)
	t.Log(text)
	if d.points < 230 || d.worstDB > 0.001 || d.worstDeg > 0.005 || d.beyond > 0 {
		t.Error(text)
	}
}
