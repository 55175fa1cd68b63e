//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"boardproof/capture/simboard"
	"boardproof/capture/soundcard/jacktest"
)

// soak looks at the program itself while it watches: after the first tenth of
// the time, in the middle and at the end.
type soak struct {
	t              *testing.T
	lengthS        float64
	began          time.Time
	readings       int
	lost           int
	looks          []soakLook
	peakGoroutines int
}

type soakLook struct {
	atS        float64
	liveMiB    float64 // heap in use after a collection
	rssMiB     float64 // what the system counts
	goroutines int
}

// soakGrowthMiB is how much live memory may vary between two looks: one window
// of two seconds of two inputs, which is held or not at the moment of looking.
const soakGrowthMiB = 2.0

func (s *soak) Write(line []byte) (int, error) {
	var now struct {
		AtS  float64 `json:"at_s"`
		Lost int     `json:"lost_frames"`
	}
	if err := json.Unmarshal(bytes.TrimSpace(line), &now); err != nil {
		s.t.Errorf("not a reading: %v: %q", err, line)
		return len(line), nil
	}
	s.readings++
	s.lost = now.Lost
	s.peakGoroutines = max(s.peakGoroutines, runtime.NumGoroutine())
	if due := []float64{0.1, 0.5, 1}; len(s.looks) < len(due) && now.AtS >= due[len(s.looks)]*s.lengthS {
		s.looks = append(s.looks, lookAtSelf(s.t, now.AtS))
	}
	return len(line), nil
}

func lookAtSelf(t *testing.T, atS float64) soakLook {
	t.Helper()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return soakLook{atS, (float64(m.HeapAlloc) - float64(len(collectFloor))) / (1 << 20), residentMiB(t), runtime.NumGoroutine()}
}

// residentMiB is the memory of this process as Linux counts it, 0 elsewhere.
func residentMiB(t *testing.T) float64 {
	t.Helper()
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	if f := strings.Fields(rest); len(f) > 0 {
		kib, err := strconv.ParseFloat(f[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		return kib / 1024
	}
	return 0
}

// run watches with a until lengthS is over, and judges.
func (s *soak) run(a *app, store string) {
	s.t.Helper()
	s.began = time.Now()
	before := cpuSeconds(s.t)
	seconds := strconv.FormatFloat(s.lengthS, 'f', -1, 64)
	if code := a.run(context.Background(), []string{"hum", "watch", "--yes", "--json", "--seconds", seconds, "--store", store}); code != exitPassed {
		s.t.Fatalf("ended with %d", code)
	}
	used := cpuSeconds(s.t) - before
	s.t.Logf("%.0f s of listening in %.0f s, %d readings, %.0f %% of one core at the pace of a sound card, %d frames lost, %d goroutines at most",
		s.lengthS, time.Since(s.began).Seconds(), s.readings, 100*used/s.lengthS, s.lost, s.peakGoroutines)
	if len(s.looks) != 3 {
		s.t.Fatalf("%d looks, want 3", len(s.looks))
	}
	for _, l := range s.looks {
		s.t.Logf("at %6.0f s: %5.1f MiB live, %6.1f MiB resident, %d goroutines", l.atS, l.liveMiB, l.rssMiB, l.goroutines)
		if first := s.looks[0]; l.liveMiB > first.liveMiB+soakGrowthMiB || l.goroutines > first.goroutines {
			s.t.Errorf("at %.0f s it holds more than at %.0f s", l.atS, first.atS)
		}
	}
}

// soakFor is how long to watch: what the environment says in name, or short; 0
// skips.
func soakFor(t *testing.T, name string, short time.Duration) float64 {
	t.Helper()
	if text := os.Getenv(name); text != "" {
		d, err := time.ParseDuration(text)
		if err != nil {
			t.Fatal(err)
		}
		return d.Seconds()
	}
	if short == 0 {
		t.Skipf("%s does not say how long ('make soak')", name)
	}
	return short.Seconds()
}

// Watching hum takes no more memory and no more goroutines the longer it goes on
// (SOAK=4h: that much listening, as fast as the machine can).
func TestSoakHumWatch(t *testing.T) {
	if testing.Short() {
		t.Skip("watches for some time")
	}
	defer collectEarly()() // as the program does
	s := newSession(t)
	s.must(exitPassed, "bench", "set", "sim", "--simulated")
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false")
	w := &soak{t: t, lengthS: soakFor(t, "SOAK", 8*time.Second)}
	s.bench = func(c *simboard.Config) { c.Unpaced = true }
	var said bytes.Buffer
	a := newApp(strings.NewReader(""), w, &said)
	a.now, a.ready = func() time.Time { return s.now }, s.readyBench()
	w.run(a, s.store)
}

// The same over JACK at its own pace (SOAK_JACK=30m).
func TestSoakHumWatchOverJACK(t *testing.T) {
	length := soakFor(t, "SOAK_JACK", 0)
	defer collectEarly()() // as the program does
	server := jacktest.Start(t)
	server.Player(t, "hummer", humFile(t))
	p := &program{t: t, store: filepath.Join(t.TempDir(), "store.db")}
	p.must(exitPassed, "bench", "set", "jack", "--device", "hummer", "--rate", "48000", "--inputs", "A=1,B=2")
	w := &soak{t: t, lengthS: length}
	w.run(newApp(strings.NewReader(""), w, os.Stderr), p.store)
}
