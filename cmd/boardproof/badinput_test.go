package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

// compressed is x through a compressor: 4:1 above a threshold, 5 ms attack,
// 120 ms release.
func compressed(x []float64, threshold float64) []float64 {
	attack, release := math.Exp(-1/(0.005*48000)), math.Exp(-1/(0.12*48000))
	y, envelope := make([]float64, len(x)), 0.0
	for i, v := range x {
		keep := release
		if math.Abs(v) > envelope {
			keep = attack
		}
		envelope = keep*envelope + (1-keep)*math.Abs(v)
		y[i] = v * math.Pow(math.Max(envelope/threshold, 1), -0.75)
	}
	return y
}

// Recordings that hold no measurement: exit 3, the reason for each quantity
// and output, and no reading but what a reason leaves.
func TestBadTakesAreRefusedWithTheReason(t *testing.T) {
	if testing.Short() {
		t.Skip("measures several recordings")
	}
	played, x := exported(t, "sweep", "--duration", "2")
	l := testsignals.LayoutOf(testsignals.New(testsignals.Sweep, 48000, -12, 2))
	a, b := rolled(boardA.filter(x), 9000, 9000, 1e-6, 1), rolled(boardB.filter(x), 9000, 9000, 1e-6, 2)
	both := func(f func([]float64) []float64) [][]float64 { return [][]float64{f(a), f(b)} }
	spacing := l.Marks[3].Start - l.Marks[0].Start
	inSweep := 9000 + l.Body.Start + l.Body.Len()/2
	for name, c := range map[string]struct {
		channels [][]float64
		want     string
	}{
		"64 samples removed": {both(func(y []float64) []float64 {
			return append(append([]float64{}, y[:inSweep]...), y[inSweep+64:]...)
		}), fmt.Sprintf("lost samples: marks %d apart, played %d", spacing-64, spacing)},
		"64 samples added": {both(func(y []float64) []float64 {
			return append(append([]float64{}, y[:inSweep+64]...), y[inSweep:]...)
		}), fmt.Sprintf("added samples: marks %d apart, played %d", spacing+64, spacing)},
		"clipped": {both(func(y []float64) []float64 {
			return each(y, func(v float64) float64 { return math.Max(-0.2, math.Min(0.2, v)) })
		}), "clipped: "},
		"compressor": {both(func(y []float64) []float64 { return compressed(y, 0.03) }), "not linear and time-invariant in this state"},
		"silence":    {[][]float64{rolled(nil, 400000, 0, 1e-4, 1), rolled(nil, 400000, 0, 1e-4, 2)}, "no signal: timing marks not found"},
		"all zero":   {[][]float64{make([]float64, 400000), make([]float64, 400000)}, "no signal: "},
	} {
		t.Run(name, func(t *testing.T) {
			recorded := writeWAV(t, 48000, wavfile.Float32, c.channels...)
			for _, m := range []struct {
				name       string
				quantities []string
				outputs    []string
			}{
				{"response", []string{analysis.Response, analysis.Gain, analysis.Flatness, analysis.LowCorner, analysis.HighCorner}, []string{"A", "B"}},
				{"split", []string{analysis.LevelMatch, analysis.WorstLevelMatch, analysis.DelayMatch, analysis.PolarityMatch, analysis.SplitDifference}, []string{"B"}},
			} {
				args := []string{"measure", m.name, "--played", played, "--recorded", recorded, "--outputs", "A=1,B=2"}
				out, errs, code := runProgram(t, append(args, "--json")...)
				if code != exitUnmeasured {
					t.Fatalf("%s: exit %d\n%s%s", m.name, code, out, errs)
				}
				doc := parsePrinted(t, out)
				for _, q := range m.quantities {
					for _, o := range m.outputs {
						if r := refusalOf(doc, q, o); !strings.Contains(r, c.want) {
							t.Errorf("%s of %s refused with %q, want %q", q, o, r, c.want)
						}
					}
				}
				if len(doc.Curves) != 0 || len(doc.Readings) > 1 || len(doc.Readings) == 1 && doc.Readings[0].Quantity != analysis.ClockError {
					t.Errorf("%s: %d curves and readings %v of a bad take", m.name, len(doc.Curves), doc.Readings)
				}
				if out, _, code := runProgram(t, args...); code != exitUnmeasured || !strings.Contains(strings.Join(strings.Fields(out), " "), c.want) {
					t.Errorf("%s for people: exit %d\n%s", m.name, code, out)
				}
			}
		})
	}
}

func refusalOf(doc printed, quantity, output string) string {
	for _, r := range doc.Refused {
		if r.Quantity == quantity && r.Output == output {
			return r.Reason
		}
	}
	return ""
}

// Files that do not fit: exit 2, one line that says what is wrong and where,
// nothing printed as a result.
func TestFilesThatDoNotFitAreWrongUse(t *testing.T) {
	played, x := exported(t, "sweep", "--duration", "2")
	tone, _ := exported(t, "tone")
	good := writeWAV(t, 48000, wavfile.Float32, rolled(boardA.filter(x), 9000, 9000, 1e-6, 1), rolled(boardB.filter(x), 9000, 9000, 1e-6, 2))
	mono := writeWAV(t, 48000, wavfile.Float32, rolled(boardA.filter(x), 9000, 9000, 1e-6, 1))
	slow := writeWAV(t, 44100, wavfile.Float32, x, x)
	dir := t.TempDir()
	text, short, none := filepath.Join(dir, "notes.wav"), filepath.Join(dir, "short.wav"), filepath.Join(dir, "none.wav")
	whole, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	for path, data := range map[string][]byte{text: []byte(strings.Repeat("levels were fine today\n", 20)), short: whole[:len(whole)/2]} {
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct{ played, recorded, outputs, want string }{
		"mono":                    {played, mono, "A=1,B=2", "has channels 1 to 1, output B cannot be channel 2"},
		"not a WAV":               {played, text, "A=1,B=2", text + ": not a WAV file"},
		"cut short":               {played, short, "A=1,B=2", short + ": file is cut short"},
		"missing":                 {played, none, "A=1,B=2", "no such file"},
		"a tone played":           {tone, good, "A=1,B=2", "holds tone, this measurement reads a sweep"},
		"a recording as played":   {good, good, "A=1,B=2", "does not say which signal it holds"},
		"played is not a WAV":     {text, good, "A=1,B=2", text + ": not a WAV file"},
		"played is missing":       {none, good, "A=1,B=2", "no such file"},
		"another rate":            {played, slow, "A=1,B=2", "was recorded at 44100 Hz"},
		"no played":               {"", good, "A=1,B=2", "say what was played"},
		"channel 0":               {played, good, "A=0,B=2", "A=0"},
		"outputs in other words":  {played, good, "left,right", "left"},
		"two outputs, one name":   {played, good, "A=1,A=2", "A"},
		"two outputs, one input":  {played, good, "A=1,B=1", "1"},
		"no outputs":              {played, good, "", "outputs"},
		"channel beyond the file": {played, good, "A=1,B=3", "has channels 1 to 2, output B cannot be channel 3"},
	} {
		args := []string{"measure", "response", "--recorded", c.recorded, "--outputs", c.outputs, "--json"}
		if c.played != "" {
			args = append(args, "--played", c.played)
		}
		out, errs, code := runProgram(t, args...)
		if code != exitWrongUse || out != "" {
			t.Errorf("%s: exit %d, printed %q", name, code, out)
		}
		var said struct{ Error string }
		if err := json.Unmarshal([]byte(errs), &said); err != nil || strings.Count(errs, "\n") != 1 || !strings.Contains(said.Error, c.want) {
			t.Errorf("%s: %q, want one line with %q", name, errs, c.want)
		}
	}
}

// Another sweep than the one that was recorded does not have its marks.
func TestAnotherSweepAsPlayedIsRefused(t *testing.T) {
	_, x := exported(t, "sweep", "--duration", "2")
	other, _ := exported(t, "sweep", "--duration", "12")
	recorded := writeWAV(t, 48000, wavfile.Float32, rolled(boardA.filter(x), 9000, 500000, 1e-6, 1), rolled(boardB.filter(x), 9000, 500000, 1e-6, 2))
	out, errs, code := runProgram(t, "measure", "response", "--played", other, "--recorded", recorded, "--json")
	if code != exitUnmeasured {
		t.Fatalf("exit %d\n%s%s", code, out, errs)
	}
	if r := refusalOf(parsePrinted(t, out), analysis.Response, "A"); !strings.Contains(r, "marks") {
		t.Errorf("refused with %q", r)
	}
}

// One output without a signal leaves the other's readings.
func TestADeadOutputIsRefusedAlone(t *testing.T) {
	played, x := exported(t, "sweep", "--duration", "2")
	a := rolled(boardA.filter(x), 9000, 9000, 1e-6, 1)
	recorded := writeWAV(t, 48000, wavfile.Float32, a, rolled(nil, len(a), 0, 1e-6, 2))
	doc := measured(t, "measure", "response", "--played", played, "--recorded", recorded)
	againstClosedForm(t, doc, "A", boardA, 1, 0.001)
	if r := refusalOf(doc, analysis.Response, "B"); !strings.HasPrefix(r, "no signal: ") {
		t.Errorf("B refused with %q", r)
	}
	out, errs, code := runProgram(t, "measure", "split", "--played", played, "--recorded", recorded, "--json")
	if r := refusalOf(parsePrinted(t, out), analysis.LevelMatch, "B"); code != exitUnmeasured || !strings.HasPrefix(r, "output B: no signal: ") {
		t.Errorf("split: exit %d, refused with %q\n%s", code, r, errs)
	}
}
