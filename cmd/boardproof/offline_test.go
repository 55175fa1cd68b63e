package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"boardproof/analysis"
	"boardproof/capture/wavfile"
)

// runProgram carries out one command line as main does.
func runProgram(t testing.TB, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = newApp(bytes.NewReader(nil), &out, &errs).run(context.Background(), args)
	return out.String(), errs.String(), code
}

// printed is the JSON contract as another program would read it.
type printed struct {
	Format    string
	Simulated bool
	Readings  []analysis.Reading
	Curves    []analysis.Curve
	Refused   []analysis.Refusal
}

// measured runs a command with --json that must succeed.
func measured(t testing.TB, args ...string) printed {
	t.Helper()
	out, errs, code := runProgram(t, append(args, "--json")...)
	if code != exitPassed {
		t.Fatalf("%v: exit %d\n%s%s", args, code, out, errs)
	}
	return parsePrinted(t, out)
}

func parsePrinted(t testing.TB, out string) printed {
	t.Helper()
	var p printed
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatalf("the JSON cannot be read: %v\n%s", err, out)
	}
	if p.Format != "boardproof/1" {
		t.Fatalf("format %q", p.Format)
	}
	return p
}

func (p printed) reading(t testing.TB, quantity, output string) analysis.Reading {
	t.Helper()
	for _, r := range p.Readings {
		if r.Quantity == quantity && r.Output == output {
			return r
		}
	}
	t.Fatalf("no %s of output %q; refused: %v", quantity, output, p.Refused)
	return analysis.Reading{}
}

func (p printed) curve(t testing.TB, quantity, output string) analysis.Curve {
	t.Helper()
	for _, c := range p.Curves {
		if c.Quantity == quantity && c.Output == output {
			return c
		}
	}
	t.Fatalf("no curve %s of output %q; refused: %v", quantity, output, p.Refused)
	return analysis.Curve{}
}

// exported writes a signal with the program and returns its path and samples.
func exported(t testing.TB, kind string, args ...string) (path string, samples []float64) {
	t.Helper()
	path = filepath.Join(wavDir(t), kind+".wav")
	if _, errs, code := runProgram(t, append([]string{"signal", kind, "--out", path}, args...)...); code != exitPassed {
		t.Fatalf("signal %s: exit %d: %s", kind, code, errs)
	}
	audio, err := wavfile.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return path, audio.Samples[0]
}

func writeWAV(t testing.TB, rateHz int, encoding wavfile.Encoding, channels ...[]float64) string {
	t.Helper()
	path := filepath.Join(wavDir(t), "recorded.wav")
	if err := wavfile.WriteFile(path, &wavfile.Audio{RateHz: rateHz, Encoding: encoding, Samples: channels}); err != nil {
		t.Fatal(err)
	}
	return path
}

// dBOf and dBuOf are the definitions written a second time, so that they
// do not agree with the program's own by using them: 0 dBu is √0.6 V RMS.
func dBOf(ratio float64) float64 { return 20 * math.Log10(ratio) }

func dBuOf(voltsRMS float64) float64 { return dBOf(voltsRMS / math.Sqrt(0.6)) }

// wavDir is where a test puts its recordings: a folder that goes with the
// test, or KEEP_WAV, to look at them by hand after.
func wavDir(t testing.TB) string {
	t.Helper()
	if dir := os.Getenv("KEEP_WAV"); dir != "" {
		return dir
	}
	return t.TempDir()
}
