package analysis

import (
	"math"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// A gain that moves by less than what a clean path may do is read, one that
// moves by half as much again is refused: run-in against sweep, marks before
// against marks after, and the level of a tone. So no bound moves unseen.
func TestBoundsOfRefusalFromBothSides(t *testing.T) {
	spec := testsignals.New(testsignals.Sweep, 48000, -12, 1)
	refused := func(res Result, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range res.Refused {
			if r.Quantity == Response || r.Quantity == Gain {
				return r.Reason
			}
		}
		return ""
	}
	louder := func(db float64) string {
		rec := recorded(t, spec, 1e-6, 3, gainOf(0.9))
		for i := rec.Signal.Body.Shift(int(rec.OffsetFrames)).Start; i < len(rec.Samples[0]); i++ {
			rec.Samples[0][i] *= math.Pow(10, db/20)
		}
		return refused(SweepResult(rec, nil, DefaultBand))
	}
	marks := func(db float64) string {
		rec := recorded(t, spec, 1e-6, 3, gainOf(0.9))
		rec.MarkChangeDB = []Estimate{{Value: db, Std: 1e-4}}
		return refused(SweepResult(rec, nil, DefaultBand))
	}
	tone := func(db float64) string {
		share := math.Pow(10, db/20) - 1
		return refused(toneTake(t, 1000, 1e-6, func(v, s float64) float64 { return v * (1 + share*math.Sin(2*math.Pi*0.8*s)) }), nil)
	}
	for name, c := range map[string]struct {
		of      func(db float64) string
		in, out float64
		want    string
	}{
		"run-in against sweep": {louder, 0.035, 0.075, "not linear and time-invariant"},
		"marks":                {marks, 0.035, 0.075, "the marks after the signal"},
		"tone":                 {tone, 0.13, 0.3, "not steady"},
	} {
		if why := c.of(c.in); why != "" {
			t.Errorf("%s, %g dB: refused: %s", name, c.in, why)
		}
		if why := c.of(c.out); !strings.Contains(why, c.want) {
			t.Errorf("%s, %g dB: refused %q, want %q", name, c.out, why, c.want)
		}
	}
}

// Four standard uncertainties, no more: what is further is no noise.
func TestSameGainWithinFourStandardUncertainties(t *testing.T) {
	for apart, want := range map[float64]bool{0.4: true, 0.44: true, 0.46: false, 1: false} {
		// 0.05 dB and 4 times 0.1 dB are 0.45 dB.
		if got := sameGain(Estimate{1, 0.06}, Estimate{1 + apart, 0.08}); got != want {
			t.Errorf("%g dB apart at ± 0.1 dB: the same %v, want %v", apart, got, want)
		}
	}
}

// The noise beside a signal, and a silence's own hiss, at which a take is taken
// for spoilt: 10 dB and 3 dB above the lower median.
func TestBangsFromBothSides(t *testing.T) {
	for _, c := range []struct{ by, in, out float64 }{{bangDB, 8, 13}, {silenceBangDB, 2.5, 4}} {
		loud := func(by float64) []Spoilt {
			return loudness{"noise", c.by, func(take, _ int) float64 { return []float64{-100, -100.5, -100 + by}[take] }}.loud(nil, 3, 0, "A")
		}
		if got := loud(c.in); len(got) != 0 {
			t.Errorf("%g dB above the others: left out as %v", c.in, got)
		}
		if got := loud(c.out); len(got) != 1 || got[0].Take != 2 {
			t.Errorf("%g dB above the others: left out %v", c.out, got)
		}
	}
}
