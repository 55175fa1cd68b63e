package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis/hunt"
	"boardproof/capture/wavfile"
)

// settleS is left out at the start of what ngspice computes for a hunt,
// huntS is what is kept.
const settleS, huntS = 0.3, 3.0

// circuitAt48k lets ngspice compute the voltage at the node in at each frame
// of 48 kHz. Control of the step by error is off, as in humLoop.
func circuitAt48k(t *testing.T, circuit string) []float64 {
	t.Helper()
	const h = 1.0 / 48000
	seconds := settleS + huntS
	net := circuit + fmt.Sprintf(".options method=trap trtol=1e9 reltol=1e-6 abstol=1e-12 vntol=1e-9\n.save v(in)\n.tran %g %g 0 %.17g uic\n.end\n", seconds, seconds, h)
	var x []float64
	simulate(t, net, func(v []float64) {
		if v[0] > settleS && v[0] < seconds-h {
			x = append(x, v[1])
		}
	})
	if len(x) < int(0.99*huntS/h) {
		t.Fatalf("ngspice gave %d frames of %g s", len(x), huntS)
	}
	return x
}

// loopThrough is the loop of TestMeasureSilenceAgreesWithNgspice with
// something in its way: a component of the netlist from node w to node l.
func loopThrough(inTheWay string) string {
	var net strings.Builder
	net.WriteString("* hum loop\n")
	for i, v := range loopVolts {
		from := "0"
		if i > 0 {
			from = fmt.Sprintf("e%d", i-1)
		}
		fmt.Fprintf(&net, "v%d e%d %s sin(0 %g %g)\n", i, i, from, v, humHz*float64(2*i+1))
	}
	fmt.Fprintf(&net, "%s\nrloop w l %g\nlloop l shield %g\nrshield shield 0 %g\nrout shield in %g\nrin in 0 %g\n",
		strings.ReplaceAll(inTheWay, "FROM", fmt.Sprintf("e%d", len(loopVolts)-1)), loopOhms, loopHenrys, shieldOhms, outputOhms, inputOhms)
	return net.String()
}

// rectifier is a supply with full-wave rectification, a reservoir capacitor
// and a load, whose ripple gets to output B at 60 dB less, by 10 MΩ into the
// output's 10 kΩ. Values are invented.
const rectifier = `* supply outlet
vup p0 0 sin(0 13.4 50.3)
vdown n0 0 sin(0 -13.4 50.3)
rup p0 p 1.2
rdown n0 n 1.2
d1 p rail diode
d2 n rail diode
.model diode d(is=1e-9 n=1.8 rs=0.05)
creservoir rail 0 1000u ic=11
`

const rejected = `iload rail 0 dc 0.25
ccouple rail x 1u ic=11
rcouple x in 10meg
rin in 0 10k
`

// asRecorded writes what a recorder of 12 dBu full scale would have: output A
// with nothing but noise, output B with volts.
func asRecorded(t *testing.T, name string, volts []float64, seed uint64) string {
	t.Helper()
	full := math.Sqrt(0.6) * math.Pow(10, fullScaleDBu/20) * math.Sqrt2
	noise := rand.New(rand.NewPCG(seed, 7))
	a, b := make([]float64, len(volts)), make([]float64, len(volts))
	for i, v := range volts {
		a[i], b[i] = 1e-6*noise.NormFloat64(), v/full+1e-6*noise.NormFloat64()
	}
	path := filepath.Join(wavDir(t), name+".wav")
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: 48000, Encoding: wavfile.Float32, Samples: [][]float64{a, b}}); err != nil {
		t.Fatal(err)
	}
	return path
}

// huntedFiles hunts through recordings of an invented board and returns what
// was kept of it.
func huntedFiles(t *testing.T, recorded ...string) huntInfo {
	t.Helper()
	store := filepath.Join(t.TempDir(), "s.db")
	run := func(args ...string) string {
		out, errs, code := runProgram(t, append([]string{"--store", store}, args...)...)
		if code != exitPassed {
			t.Fatalf("%v: exit %d\n%s%s", args, code, out, errs)
		}
		return out
	}
	run("board", "add", "Tin Heron", "--device", "tide boost,boost,9,8")
	args := []string{"hum", "hunt", "tin", "--input-full-scale", "12dBu"}
	for _, r := range recorded {
		args = append(args, "--recorded", r)
	}
	t.Logf("boardproof %s\n%s", strings.Join(args, " "), run(args...))
	var doc struct{ Hunt huntInfo }
	if err := json.Unmarshal([]byte(run("hum", "show", "--json")), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Hunt
}

func (h huntInfo) change(t *testing.T, c hunt.Condition, group string) hunt.Change {
	t.Helper()
	for _, got := range h.Changes {
		if got.Output == "B" && got.Condition == c && got.Group == group {
			return got
		}
	}
	t.Fatalf("no change of %s at output B, %s", group, c)
	return hunt.Change{}
}

// level is a group's level at output B as found, in dBu.
func (h huntInfo) level(t *testing.T, group string) (dBu, expanded float64) {
	t.Helper()
	for _, r := range h.Conditions[0].Readings {
		if r.Output == "B" {
			return r.Levels[group].DBu()
		}
	}
	t.Fatal("output B was not read as found")
	return 0, 0
}

func TestHuntOfNgspicesGroundLoop(t *testing.T) {
	if testing.Short() {
		t.Skip("ngspice computes for some time")
	}
	needNgspice(t)
	closed := circuitAt48k(t, loopThrough("rway FROM w 1u"))
	// Unplugged, the loop is closed by 100 pF of cable; isolated, by the
	// 2.2 nF between the windings of a cheap transformer.
	unplugged := circuitAt48k(t, loopThrough("cway FROM w 100p"))
	isolated := circuitAt48k(t, loopThrough("cway FROM w 2.2n"))
	h := huntedFiles(t, "as found:"+asRecorded(t, "found", closed, 1), "output unplugged=B:"+asRecorded(t, "unplugged", unplugged, 2),
		"output isolated=B:"+asRecorded(t, "isolated", isolated, 3), "laptop on battery:"+asRecorded(t, "laptop", closed, 4))
	first := h.Finding.Weighing.Causes[0]
	if !h.Finding.Decided || first.Cause != hunt.GroundLoop || first.Score < hunt.DecidedFrom {
		t.Errorf("it is a ground loop, and the hunt says %s (%.2f)", first.Cause, first.Score)
	}
	if !strings.Contains(h.Finding.Text, "output B's amplifier") || !strings.Contains(h.Finding.Text, "isolated output cures it") {
		t.Errorf("finding: %s", h.Finding.Text)
	}
	level, u := h.level(t, hunt.Fundamental)
	if want := dBuOf(humAtInput(1)); math.Abs(level-want) > 0.01+1.5*u {
		t.Errorf("the fundamental is %.3f ± %.3f dBu, closed form %.3f", level, u, want)
	}
	odd := 0.0
	for i := 1; i < len(loopVolts); i++ {
		odd += math.Pow(humAtInput(2*i+1), 2)
	}
	level, u = h.level(t, hunt.Odd)
	if want := dBuOf(math.Sqrt(odd)); math.Abs(level-want) > 0.01+1.5*u {
		t.Errorf("the odd harmonics are %.3f ± %.3f dBu, closed form %.3f", level, u, want)
	}
	for _, c := range []hunt.Condition{{Change: hunt.OutputUnplugged, Subject: "B"}, {Change: hunt.OutputIsolated, Subject: "B"}} {
		if got := h.change(t, c, hunt.Fundamental); !got.AtMost || got.DB.Value > -25 {
			t.Errorf("%s: %s; hardly any current is left in the loop", c, got)
		}
	}
	if got := h.change(t, hunt.Condition{Change: hunt.LaptopOnBattery}, hunt.Fundamental); !got.NoChange {
		t.Errorf("the laptop on battery changes nothing, and is read as: %s", got)
	}
}

func TestHuntOfNgspicesRectifier(t *testing.T) {
	if testing.Short() {
		t.Skip("ngspice computes for some time")
	}
	needNgspice(t)
	ripple := circuitAt48k(t, rectifier+rejected)
	battery := circuitAt48k(t, "* battery\nvbattery rail 0 9\n"+strings.ReplaceAll(rejected, "ic=11", "ic=9"))
	h := huntedFiles(t, "as found:"+asRecorded(t, "found", ripple, 1), "output unplugged=B:"+asRecorded(t, "unplugged", ripple, 2),
		"on battery:"+asRecorded(t, "battery", battery, 4))
	first := h.Finding.Weighing.Causes[0]
	if !h.Finding.Decided || first.Cause != hunt.Ripple || first.Score < hunt.DecidedFrom {
		t.Errorf("it is supply ripple, and the hunt says %s (%.2f)", first.Cause, first.Score)
	}
	if !strings.Contains(h.Finding.Text, "on battery cures it") {
		t.Errorf("finding: %s", h.Finding.Text)
	}
	// The even harmonics up to 1 kHz of ngspice's own waveform, by its Fourier
	// sums over whole periods.
	power := 0.0
	for n := 2; float64(n)*humHz <= 1000; n += 2 {
		power += math.Pow(lineOf(ripple, float64(n)*humHz), 2)
	}
	level, u := h.level(t, hunt.Even)
	want := dBuOf(math.Sqrt(power))
	t.Logf("even harmonics %.3f ± %.3f dBu, ngspice's Fourier sums %.3f dBu", level, u, want)
	if math.Abs(level-want) > 0.01+1.5*u {
		t.Errorf("the even harmonics are %.3f ± %.3f dBu, ngspice's %.3f", level, u, want)
	}
	if odd, _ := h.level(t, hunt.Odd); odd > level-40 {
		t.Errorf("a full-wave rectifier has no odd harmonics, read are %.1f dBu of them beside %.1f even", odd, level)
	}
}

// lineOf is the RMS of the line at f by the Fourier sum over the most whole
// periods of 50.3 Hz that x has at 48 kHz: 503 of them are 480,000 frames.
func lineOf(x []float64, f float64) float64 {
	periods := math.Floor(float64(len(x)) * humHz / 48000)
	n := int(math.Round(periods * 48000 / humHz))
	sum := complex(0, 0)
	for i, v := range x[:n] {
		sum += cmplx.Rect(v, -2*math.Pi*f*float64(i)/48000)
	}
	return math.Sqrt2 * cmplx.Abs(sum) / float64(n)
}
