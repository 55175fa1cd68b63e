//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/capture/soundcard/jacktest"
)

// The client that is a board on the audio path.
const jackClient = "pedalboard"

// What the board does to its one input: output A is dulled, output B is 1.2 dB
// low and dulled a little less.
var dulledChain = []string{"-a:A", "-chmute:2", "-efl:9000", "-a:B", "-chcopy:1,2", "-chmute:1", "-ea:87.0964", "-efl:14000"}

// A lead from the input to both outputs.
var leadChain = []string{"-a:A", "-chmute:2", "-a:B", "-chcopy:1,2", "-chmute:1"}

// The plan is short because all of it plays in real time.
const jackPlan = `format = "boardproof-plan/1"
name = "short"
rule = "guarded"

[[step]]
name = "signal path"
state = "all bypassed"
patch = "board"
signals = ["sweep", "impulses"]
level_dbu = -10.0
limit = [
  { quantity = "high_corner", min = 15000.0 },
  { quantity = "level_match", frequency_hz = 1000.0, min = -0.25, max = 0.25 },
  { quantity = "polarity_match", min = 1.0, max = 1.0 },
]

[[step]]
name = "tone"
state = "all bypassed"
patch = "board"
signals = ["tone"]
duration_s = 1.0
level_dbu = -10.0
limit = [{ quantity = "thd_n", max = 0.3 }]

[[step]]
name = "silence"
state = "all bypassed"
patch = "board"
signals = ["silence"]
duration_s = 2.0
level_dbu = -10.0
limit = [{ quantity = "noise", weighting = "A", max = -70.0 }]
`

// The whole program on an audio path against a board that another program
// makes: the reference is the same program filtering an impulse from file to
// file.
func TestAcceptOverJACK(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	server := jacktest.Start(t)
	dir := t.TempDir()
	noise := noiseChain(t, dir)
	stop := server.Ecasound(t, jackClient, append(leadChain, noise...)...)
	p := &program{t: t, store: filepath.Join(dir, "store.db")}
	p.must(exitPassed, "bench", "set", "jack", "--device", jackClient, "--rate", "48000", "--inputs", "A=1,B=2")
	p.must(exitPassed, "board", "add", "Tin Heron")
	plan := filepath.Join(dir, "short.toml")
	if err := os.WriteFile(plan, []byte(jackPlan), 0o600); err != nil {
		t.Fatal(err)
	}
	p.must(exitPassed, "plan", "edit", "Tin Heron", "--from", plan)
	// Ports have no impedance, so the inputs take nothing off the level.
	p.unlessLost(func() (int, string) {
		return p.run("calibrate", "--yes", "--linearity=false", "--meter-volts", "0.7746", "--output-ohms", "0.001", "--inputs-ohms", "1e9", "--lead-stays")
	}, exitPassed)
	stop()
	server.Ecasound(t, jackClient, append(dulledChain, noise...)...)
	var shown string
	p.unlessLost(func() (code int, lost string) {
		code, shown = p.run("accept", "Tin Heron", "--yes", "--no-check")
		return code, shown
	}, exitFailed)
	t.Logf("accept over JACK:\n%s", shown)
	for _, say := range []string{"high corner", "level match B"} {
		if !strings.Contains(shown[strings.LastIndex(shown, "\nFAIL"):], say) {
			t.Errorf("the verdict does not name %s", say)
		}
	}
	if strings.Contains(shown, "SIMULATED") {
		t.Error("a run over an audio path is called simulated")
	}
	oneOnTheInterface(t, p.store)
	_, list := p.run("runs", "Tin Heron")
	_, doc := p.run("show", strings.Fields(list)[0], "--json")
	compareWithFiles(t, doc)
}

// program runs command lines as main does.
type program struct {
	t     *testing.T
	store string
	said  string
}

// run returns the exit code and what was written to the output.
func (p *program) run(args ...string) (int, string) {
	var out, errs bytes.Buffer
	code := newApp(strings.NewReader(""), &out, &errs).run(context.Background(), append(args, "--store", p.store))
	p.said = errs.String()
	return code, out.String()
}

func (p *program) must(want int, args ...string) {
	p.t.Helper()
	if code, out := p.run(args...); code != want {
		p.t.Fatalf("%v ended with %d, want %d\n%s%s", args, code, want, out, p.said)
	}
}

// tries is how often is tried what a busy machine may spoil. One that spoils
// each second try spoils all in one test of a thousand.
const tries = 10

// ofABusyMachine are the reasons for which a take is thrown away that hang on
// what else the machine does.
var ofABusyMachine = []string{"lost samples", "the computer missed", "did not keep up", "has sent nothing for"}

// unlessLost runs do until it was not spoilt by blocks that a busy machine
// lost.
func (p *program) unlessLost(do func() (int, string), want int) {
	p.t.Helper()
	for try := 1; ; try++ {
		code, out := do()
		if code == want {
			return
		}
		lost := slices.ContainsFunc(ofABusyMachine, func(reason string) bool { return strings.Contains(out+p.said, reason) })
		if !lost || try == tries {
			p.t.Fatalf("ended with %d, want %d\n%s%s", code, want, out, p.said)
		}
		p.t.Logf("try %d: samples were lost, again", try)
	}
}

// noiseChain is a chain that adds quiet white noise, another for each output,
// to what a filter puts out: the input of an interface is never still.
func noiseChain(t *testing.T, dir string) []string {
	const seconds, rmsDBFS = 40, -95.0
	rng := rand.New(rand.NewPCG(8, 8))
	raw := make([]byte, 0, seconds*jacktest.RateHz*8)
	for range seconds * jacktest.RateHz * 2 {
		v := float32(rng.NormFloat64() * math.Pow(10, rmsDBFS/20) / math.Sqrt2)
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	path := filepath.Join(dir, "noise.raw")
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	return []string{"-a:N", fmt.Sprintf("-f:f32_le,2,%d", jacktest.RateHz), "-i:audioloop," + path}
}

// filter returns the response of dulledChain to output 0 (A) or 1 (B) at f.
func filter(t *testing.T) func(output int, f float64) complex128 {
	const frames = 1 << 16
	raw := make([]byte, 8*frames)
	for c := range 2 {
		binary.LittleEndian.PutUint32(raw[4*c:], math.Float32bits(1))
	}
	got := jacktest.EcasoundFile(t, raw, dulledChain...)
	if len(got) < len(raw) {
		t.Fatalf("the filtered file has %d bytes of %d", len(got), len(raw))
	}
	impulse := [2][]float64{make([]float64, frames), make([]float64, frames)}
	for i := range frames {
		for c := range impulse {
			impulse[c][i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(got[8*i+4*c:])))
		}
	}
	return func(output int, f float64) complex128 {
		// The sum itself, as the grid's frequencies lie between a transform's.
		w := cmplx.Exp(complex(0, -2*math.Pi*f/jacktest.RateHz))
		sum := complex(0, 0)
		for i := frames - 1; i >= 0; i-- {
			sum = sum*w + complex(impulse[output][i], 0)
		}
		return sum
	}
}

func compareWithFiles(t *testing.T, document string) {
	t.Helper()
	var doc struct {
		Readings []verdict.Judged
		Curves   []analysis.Curve
	}
	if err := json.Unmarshal([]byte(document), &doc); err != nil {
		t.Fatalf("show --json: %v", err)
	}
	h := filter(t)
	reading := func(quantity, output string) analysis.Reading {
		for _, r := range doc.Readings {
			if r.Quantity == quantity && r.Output == output && r.Limit != nil {
				return r.Reading
			}
		}
		t.Fatalf("no %s of output %s was judged", quantity, output)
		return analysis.Reading{}
	}
	for output, name := range []string{"A", "B"} {
		compareCurve(t, doc.Curves, name, func(f float64) complex128 { return h(output, f) })
		corner := reading(analysis.HighCorner, name)
		drop := decibels(h(output, corner.Value)) - decibels(h(output, 1000))
		// Twice the slope of a second-order low-pass, 12 dB an octave, bounds
		// what the corner's uncertainty is worth in dB.
		allowed := 24*corner.Uncertainty/corner.Value + 0.005
		if off := drop - 10*math.Log10(0.5); math.Abs(off) > allowed {
			t.Errorf("output %s: at the corner of %.1f Hz the files are %.4f dB off half power, allowed %.4f dB", name, corner.Value, off, allowed)
		}
		t.Logf("output %s: corner %.2f ± %.2f Hz, where the files are %.4f dB down", name, corner.Value, corner.Uncertainty, drop)
	}
	match, want := reading(analysis.LevelMatch, "B"), decibels(h(1, 1000))-decibels(h(0, 1000))
	if math.Abs(match.Value-want) > match.Uncertainty {
		t.Errorf("level match is %.5f ± %.5f dB, the files' %.5f dB", match.Value, match.Uncertainty, want)
	}
	t.Logf("level match %.5f ± %.5f dB, the files' %.5f dB", match.Value, match.Uncertainty, want)
	if polarity := reading(analysis.PolarityMatch, "B"); polarity.Value != 1 {
		t.Errorf("polarity match is %g", polarity.Value)
	}
}

// compareCurve holds one output's response against want from 20 Hz to 20 kHz.
func compareCurve(t *testing.T, curves []analysis.Curve, output string, want func(f float64) complex128) {
	t.Helper()
	points, beyond, worst, worstHz := 0, 0, 0.0, 0.0
	for _, c := range curves {
		if c.Quantity != analysis.Response || c.Output != output {
			continue
		}
		for i, f := range c.FrequencyHz {
			level := decibels(want(f))
			if f < 20 || f > 20000 || level < -60 {
				continue
			}
			points++
			off := c.Value[i] - level
			if math.Abs(off) > math.Abs(worst) {
				worst, worstHz = off, f
			}
			if allowed := c.Uncertainty[i] + 0.01; math.Abs(off) > allowed {
				if beyond++; beyond > 1 {
					continue
				}
				t.Errorf("output %s at %.1f Hz: %.4f dB, the files' %.4f dB, allowed %.4f dB", output, f, c.Value[i], level, allowed)
			}
			if i%40 == 0 {
				t.Logf("output %s at %8.1f Hz: %.4f ± %.4f dB, the files' %.4f dB", output, f, c.Value[i], c.Uncertainty[i], level)
			}
		}
	}
	if points < 100 || beyond > 0 {
		t.Errorf("output %s: %d points were compared, %d are off by more than allowed", output, points, beyond)
	}
	t.Logf("output %s: %d points from 20 Hz to 20 kHz, worst %.5f dB at %.1f Hz", output, points, worst, worstHz)
}

func decibels(h complex128) float64 { return 20 * math.Log10(cmplx.Abs(h)) }
