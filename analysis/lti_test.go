package analysis

import (
	"math"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// compress is a memoryless stand-in for a compressor: 3 dB less gain for each
// 12 dB more level, which the run-in is below the sweep.
func compressed(rec *Recording) {
	for _, x := range rec.Samples {
		body := rec.Signal.Body.Shift(int(rec.OffsetFrames))
		for i := body.Start; i < body.End; i++ {
			x[i] *= math.Pow(10, -3.0/20)
		}
	}
}

func TestCompressorIsNotGivenAResponse(t *testing.T) {
	rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2), 1e-5, 3, gainOf(0.9))
	compressed(rec)
	res, err := SweepResult(rec, nil, DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	refusedAs(t, res, "not linear and time-invariant")
}

func refusedAs(t *testing.T, res Result, words string) {
	t.Helper()
	for _, r := range res.Readings {
		t.Errorf("%s was read although the board is not linear", r.Quantity)
	}
	for _, r := range res.Refused {
		if r.Quantity == Response && strings.Contains(r.Reason, words) {
			return
		}
	}
	t.Errorf("refused: %v, want %q", res.Refused, words)
}

// The second opinion alone must tell a difference: here the impulses, but
// neither run-in nor marks, see another gain.
func TestImpulsesDisagree(t *testing.T) {
	sweep := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2), 1e-6, 4, gainOf(0.9))
	same := recorded(t, testsignals.New(testsignals.Impulses, 48000, -12, 0), 1e-6, 5, chain(gainOf(0.9), delayed(3.3e-6)))
	other := recorded(t, testsignals.New(testsignals.Impulses, 48000, -12, 0), 1e-6, 5, gainOf(0.9*1.03))
	res, err := SweepResult(sweep, same, DefaultBand)
	if err != nil || len(res.Refused) > 0 {
		t.Fatalf("equal opinions: %v, refused %v", err, res.Refused)
	}
	res, err = SweepResult(sweep, other, DefaultBand)
	if err != nil {
		t.Fatal(err)
	}
	refusedAs(t, res, "gain differs from the sweep")
}

// No false alarm on a clean board with the noise of a poor interface.
func TestCleanBoardIsLinear(t *testing.T) {
	for seed := range uint64(10) {
		spec := testsignals.New(testsignals.Sweep, 48000, -20, 2)
		rec := recorded(t, spec, 1e-4, 10+seed, chain(lowPass(12000), highPass(8)))
		imp := recorded(t, testsignals.New(testsignals.Impulses, 48000, -20, 0), 1e-4, 90+seed, chain(lowPass(12000), highPass(8)))
		res, err := SweepResult(rec, imp, DefaultBand)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range res.Refused {
			t.Errorf("seed %d: %s refused: %s", seed, r.Quantity, r.Reason)
		}
	}
}
