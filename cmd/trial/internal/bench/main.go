// Package bench times the analysis of one acceptance, two outputs
// with a 5 s sweep, 10 s of silence and a 2 s tone, next to the same work
// written plainly in SciPy (analysis/testdata/plain_scipy.py), in one run. It
// is what 'make bench' prints: seconds and memory of both, and their ratio.
package bench

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime/debug"
	"strconv"
	"strings"
	"syscall"
	"time"

	"boardproof/analysis"
	"boardproof/cmd/trial/internal/trials"
	"boardproof/testsignals"
)

// Program is 'trial bench'. It calls itself as 'trial bench one RATE' for each
// analysis, so that what is timed is a process of its own.
func Program() trials.Program {
	return trials.Program{
		Name: "bench", Does: "time and memory of one acceptance's analysis, beside plain SciPy",
		Plan: trials.Plan{What: "pairs", Trials: 3}, Args: "[one RATE]", Run: run,
	}
}

// figures are what one side took at one rate.
type figures struct {
	RateHz  int                `json:"rate_hz"`
	Seconds map[string]float64 `json:"seconds"`
	PeakMiB float64            `json:"peak_mib"`
	IdleMiB float64            `json:"mib_before_analysis"`
}

func run(_ context.Context, p trials.Plan) (trials.Figures, error) {
	if len(p.Args) > 0 {
		if len(p.Args) != 2 || p.Args[0] != "one" {
			return trials.Figures{}, fmt.Errorf("%q: only 'one RATE' may be named", p.Args)
		}
		rate, err := strconv.Atoi(p.Args[1])
		if err != nil {
			return trials.Figures{}, fmt.Errorf("reading the rate: %w", err)
		}
		return trials.Figures{}, one(rate, p.Out)
	}
	fmt.Fprintln(p.Out, "analysis of one acceptance: 2 outputs, 5 s sweep, 10 s silence with the mains comb to the")
	fmt.Fprintln(p.Out, "40th harmonic, 2 s tone; each side a process of its own, in turn; middle of", p.Trials, "pairs")
	fmt.Fprintf(p.Out, "%-8s %-12s %8s %8s %8s %8s %10s %10s\n", "rate", "", "sweep s", "silence s", "tone s", "all s", "peak MiB", "analysis MiB")
	var found []string
	for _, rate := range []int{48000, 96000, 192000} {
		short, err := compare(p.Out, rate, p.Trials)
		if err != nil {
			return trials.Figures{}, err
		}
		found = append(found, short)
	}
	return trials.Figures{Of: fmt.Sprintf("%d pairs", p.Trials), Found: "over plain SciPy: " + strings.Join(found, "; ")}, nil
}

// compare times both sides in turn, pairs times, and prints the middle; it
// returns the same in short.
func compare(w io.Writer, rate, pairs int) (string, error) {
	self, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("finding this program: %w", err)
	}
	var ours, scipy []figures
	for range pairs {
		a, err := timed(self, "bench", "one", strconv.Itoa(rate))
		if err != nil {
			return "", err
		}
		b, err := timed("/usr/bin/python3", "analysis/testdata/plain_scipy.py", strconv.Itoa(rate))
		if err != nil {
			return "", err
		}
		b.Seconds["silence"] = b.Seconds["welch"] + b.Seconds["comb"]
		ours, scipy = append(ours, a), append(scipy, b)
	}
	a, b := middle(ours), middle(scipy)
	printRow(w, rate, "boardproof", a)
	printRow(w, rate, "plain SciPy", b)
	seconds, peak := a.Seconds["all"]/b.Seconds["all"], a.PeakMiB/b.PeakMiB
	fmt.Fprintf(w, "%-8s %-12s %44.3f %10.2f %10.2f\n", "", "ratio", seconds, peak, (a.PeakMiB-a.IdleMiB)/(b.PeakMiB-b.IdleMiB))
	return fmt.Sprintf("%d Hz %.2f s, %.2f of its time, %.2f of its memory", rate, a.Seconds["all"], seconds, peak), nil
}

func printRow(w io.Writer, rate int, name string, f figures) {
	fmt.Fprintf(w, "%-8d %-12s %8.3f %8.3f %8.3f %8.3f %10.0f %10.0f\n", rate, name, f.Seconds["sweep"], f.Seconds["silence"],
		f.Seconds["tone"], f.Seconds["all"], f.PeakMiB, f.PeakMiB-f.IdleMiB)
}

// middle is the run whose total is the median.
func middle(all []figures) figures {
	for _, f := range all {
		below := 0
		for _, g := range all {
			if g.Seconds["all"] < f.Seconds["all"] {
				below++
			}
		}
		if below == len(all)/2 {
			return f
		}
	}
	return all[0]
}

func timed(name string, args ...string) (figures, error) {
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return figures{}, fmt.Errorf("running %s: %w: %s", name, err, exit.Stderr)
		}
		return figures{}, fmt.Errorf("running %s: %w", name, err)
	}
	var f figures
	if err := json.Unmarshal(out, &f); err != nil {
		return figures{}, fmt.Errorf("reading what %s printed: %w", name, err)
	}
	return f, nil
}

// one analyses one acceptance and prints its figures.
func one(rate int, w io.Writer) error {
	debug.SetGCPercent(10) // as cmd/boardproof does
	sweep, silence, tone, err := records(rate)
	if err != nil {
		return err
	}
	f := figures{RateHz: rate, Seconds: map[string]float64{}, IdleMiB: peakMiB()}
	for _, part := range []struct {
		name string
		work func() (analysis.Result, error)
	}{
		{"sweep", func() (analysis.Result, error) { return analysis.SweepResult(sweep, nil, analysis.DefaultBand) }},
		{"silence", func() (analysis.Result, error) { return analysis.SilenceOf(silence) }},
		{"tone", func() (analysis.Result, error) { return analysis.ToneResult(tone) }},
	} {
		start := time.Now()
		res, err := part.work()
		if err != nil {
			return err
		}
		if len(res.Refused) > 0 {
			return fmt.Errorf("reading the %s: %s was refused: %s", part.name, res.Refused[0].Quantity, res.Refused[0].Reason)
		}
		f.Seconds[part.name] = time.Since(start).Seconds()
		f.Seconds["all"] += f.Seconds[part.name]
	}
	f.PeakMiB = peakMiB()
	return json.NewEncoder(w).Encode(f)
}

func peakMiB() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return math.NaN()
	}
	return float64(u.Maxrss) / 1024
}

// records makes what the SciPy side makes: a first-order board, hum with 40
// harmonics drifting, two tones, hiss.
func records(rate int) (sweep, silence, tone *analysis.Recording, err error) {
	rng := rand.New(rand.NewPCG(1, 1))
	make := func(kind testsignals.Kind, quiet func(t float64) float64) (*analysis.Recording, error) {
		sig, err := testsignals.Generate(testsignals.New(kind, rate, -12, 0))
		if err != nil {
			return nil, err
		}
		rec := &analysis.Recording{Signal: sig, RateHz: float64(rate), Outputs: []string{"A", "B"}, OffsetFrames: 100}
		for _, gain := range []float64{1, 0.98} {
			rec.Samples = append(rec.Samples, board(sig, gain, quiet, rng))
			rec.Bench = append(rec.Bench, analysis.BenchInput{VoltsPerUnit: 1})
		}
		return rec, nil
	}
	none := func(float64) float64 { return 0 }
	if sweep, err = make(testsignals.Sweep, none); err != nil {
		return nil, nil, nil, err
	}
	if silence, err = make(testsignals.Silence, hum); err != nil {
		return nil, nil, nil, err
	}
	tone, err = make(testsignals.Tone, none)
	return sweep, silence, tone, err
}

// board is a one-pole low-pass at a third of the rate with a gain, 100 frames
// of latency, and what is heard in silence.
func board(sig *testsignals.Signal, gain float64, quiet func(t float64) float64, rng *rand.Rand) []float64 {
	const latency = 100
	pole := math.Exp(-2 * math.Pi / 3)
	x := make([]float64, sig.Frames+4*latency)
	y := 0.0
	for i := range x {
		in := 0.0
		if j := i - latency; j >= 0 && j < sig.Frames {
			in = sig.Samples[j]
		}
		y = pole*y + (1-pole)*in
		x[i] = gain*(y+quiet(float64(i)/float64(sig.RateHz))) + 1e-5*rng.NormFloat64()
	}
	return x
}

func hum(t float64) float64 {
	phase := 2 * math.Pi * (49.97*t + 0.002*t*t/2)
	sum := 1.4e-5*math.Cos(2*math.Pi*1000*t) + 4e-6*math.Cos(2*math.Pi*12345.6*t)
	for h := 1.0; h <= 40; h++ {
		sum += 1e-4 * math.Sqrt2 / h * math.Cos(h*phase+h)
	}
	return sum
}
