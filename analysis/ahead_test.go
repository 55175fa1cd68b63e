package analysis

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// keptBy is x as SoX or, as ".mp3" and ".m4a", FFmpeg keep it in a file of this name.
func keptBy(t *testing.T, x []float64, name string, args ...string) []float64 {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	var raw bytes.Buffer
	if err := binary.Write(&raw, binary.LittleEndian, x); err != nil {
		t.Fatal(err)
	}
	program, in := "sox", []string{"-t", "f64", "-r", "48000", "-c", "1"}
	there, back := append(append(in, "-"), append(args, path)...), append([]string{path}, append(in, "-")...)
	if len(args) > 0 && args[0] == "rate" {
		there = append(append(in, "-", "-b", "24", path), args...)
	}
	if strings.HasSuffix(name, ".mp3") || strings.HasSuffix(name, ".m4a") {
		program, in = "ffmpeg", []string{"-loglevel", "error", "-f", "f64le", "-ar", "48000"}
		there = append(append(in, "-ac", "1", "-i", "-"), append(args, path)...)
		back = []string{"-loglevel", "error", "-i", path, "-f", "f64le", "-ar", "48000", "-"}
	}
	if _, err := exec.LookPath(program); err != nil {
		if program == "sox" && os.Getenv("CI") == "true" {
			t.Fatal("sox is not installed; run .ci/deps")
		}
		t.Skip(program + " is not installed; run .ci/deps")
	}
	write := exec.Command(program, there...)
	write.Stdin = &raw
	if said, err := write.CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v\n%s", program, there, err, said)
	}
	said, err := exec.Command(program, back...).Output()
	if err != nil {
		t.Fatalf("%s %v: %v", program, back, err)
	}
	y := make([]float64, len(said)/8)
	if err := binary.Read(bytes.NewReader(said), binary.LittleEndian, y); err != nil {
		t.Fatal(err)
	}
	// What an encoder is late by is in the file's header, and taken out by both.
	return append(y, make([]float64, max(0, len(x)-len(y)))...)
}

// Codecs of SoX and FFmpeg, which this project did not write. Without noise, where
// nothing else shows them; AAC in noise too, which keeps that up to 20 kHz.
func TestOutsideCodecsAreHeardAheadOfTheResponse(t *testing.T) {
	if testing.Short() {
		t.Skip("sweeps through other programs")
	}
	const direct = 1e-4 // 80 dB down, 10 ms ahead
	for _, c := range []struct {
		name  string
		noise float64
		lossy bool
		made  func(t *testing.T, x []float64) []float64
	}{
		{"Vorbis", 0, true, func(t *testing.T, x []float64) []float64 { return keptBy(t, x, "x.ogg", "-C", "5") }},
		{"MP3 320", 0, true, func(t *testing.T, x []float64) []float64 { return keptBy(t, x, "x.mp3", "-b:a", "320k") }},
		{"AAC 320", 1e-5, true, func(t *testing.T, x []float64) []float64 { return keptBy(t, x, "x.m4a", "-b:a", "320k") }},
		{"another rate and back", 0, false, func(t *testing.T, x []float64) []float64 {
			return keptBy(t, x, "x.wav", "rate", "-v", "-s", "44100", "rate", "-v", "-s", "48000")
		}},
		{"a late board and a direct leak", 0, false, func(_ *testing.T, x []float64) []float64 {
			const late = 480
			for i := len(x) - 1; i >= 0; i-- {
				x[i] *= direct
				if i >= late {
					x[i] += x[i-late]
				}
			}
			return x
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			res := swept(t, c.noise, chain(highPass(20), lowPass(12000)), func(rec *Recording, x []float64) {
				copy(x, c.made(t, x))
				if strings.Contains(c.name, "late") {
					rec.OffsetFrames += 480
				}
			})
			said := ""
			for _, r := range res.Refused {
				said += r.Reason
			}
			if strings.Contains(said, "lossy") != c.lossy || !c.lossy && said != "" {
				t.Errorf("said %q", said)
			}
		})
	}
}
