//go:build unix

package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"boardproof/analysis/hunt"
	"boardproof/capture/soundcard/jacktest"
)

// humFile is ten seconds that go round without a seam: a comb of 50 Hz on both
// channels, 20 dB less on the second, and hiss. Its buzz, 1e-4 in all, is of several
// lines: one alone, far up, is taken for a clock's.
func humFile(t *testing.T) string {
	t.Helper()
	rng := rand.New(rand.NewPCG(8, 8))
	var b bytes.Buffer
	for i := range 10 * jacktest.RateHz {
		hum := 0.0
		for h, a := range map[float64]float64{1: 1e-3, 2: 5e-4, 3: 3e-4, 23: 6e-5, 25: 6e-5, 27: 5.29e-5} {
			hum += a * math.Sqrt2 * math.Sin(2*math.Pi*50*h*float64(i)/jacktest.RateHz)
		}
		frame := [2]float32{float32(hum + 1e-5*rng.NormFloat64()), float32(hum/10 + 1e-5*rng.NormFloat64())}
		if err := binary.Write(&b, binary.LittleEndian, frame); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(t.TempDir(), "hum.raw")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// What another program plays is watched live: the levels are those in the
// file. How often, and what it takes of a core, hangs on the machine and is
// only told. The player misses a block now and then where the machine is busy;
// then it is watched again.
func TestHumWatchOverJACK(t *testing.T) {
	if testing.Short() {
		t.Skip("plays in real time")
	}
	server := jacktest.Start(t)
	server.Player(t, "hummer", humFile(t))
	p := &program{t: t, store: filepath.Join(t.TempDir(), "store.db")}
	p.must(exitPassed, "bench", "set", "jack", "--device", "hummer", "--rate", "48000", "--inputs", "A=1,B=2")
	for try := 1; ; try++ {
		off := watchHummer(t, p)
		if off == "" {
			return
		}
		t.Logf("try %d: %s", try, off)
		if try == tries {
			t.Fatal("it was off each time")
		}
	}
}

// watchHummer says how the last reading is off what the file holds, if it is.
func watchHummer(t *testing.T, p *program) string {
	t.Helper()
	before := cpuSeconds(t)
	code, out := p.run("hum", "watch", "--yes", "--seconds", "6", "--json")
	if code != exitPassed {
		return fmt.Sprintf("ended with %d\n%s", code, p.said)
	}
	used := cpuSeconds(t) - before
	lines := strings.Split(strings.TrimSpace(out), "\n")
	last := struct {
		AtS  float64 `json:"at_s"`
		Lost int     `json:"lost_frames"`
		Hum  []hunt.Reading
	}{}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d readings of two outputs in %.1f s, %.0f %% of one core, %d frames lost", len(lines), last.AtS, 100*used/last.AtS, last.Lost)
	for i, want := range []float64{1e-3, 1e-4} {
		r := last.Hum[i]
		got := r.Levels[hunt.Fundamental].RMS.Value
		buzz := r.Levels[hunt.Buzz].RMS.Value
		if math.Abs(got/want-1) > 0.01 || math.Abs(buzz/(want/10)-1) > 0.05 || math.Abs(r.MainsHz.Value-50) > 0.01 {
			return fmt.Sprintf("output %s: fundamental %.4g, buzz %.4g of full scale at %.3f Hz; want %g and %g at 50 Hz", r.Output, got, buzz, r.MainsHz.Value, want, want/10)
		}
	}
	return ""
}

func cpuSeconds(t *testing.T) float64 {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	s := func(v syscall.Timeval) float64 { return float64(v.Sec) + float64(v.Usec)*1e-6 }
	return s(u.Utime) + s(u.Stime)
}
