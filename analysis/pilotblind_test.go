package analysis

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/testsignals"
)

// A gain that dips for 50 ms about when the sweep passes a pilot, on a band-pass that
// leaves no other one above the noise: it cannot be told from ringing, so it is refused
// or in the uncertainty. The truth is the band-pass in closed form.
func TestADipWhileTheOnlyPilotIsBlindIsHeld(t *testing.T) {
	const pilotHz = 2075
	board, sig := bandPassOf(pilotHz, 8), testsignals.New(testsignals.Sweep, 48000, -12, 5)
	var played *Played
	for _, afterS := range []float64{-0.07, 0.01, 0.04, 0.1, 0.3} {
		rec := recorded(t, sig, 2e-4, 3, board)
		if played == nil {
			var err error
			if played, err = NewPlayed(rec.Signal); err != nil {
				t.Fatal(err)
			}
		}
		for i := range rec.Samples[0] {
			s := float64(i-300-rec.Signal.Body.Start)/rec.RateHz - sweepTime(sig, pilotHz) - afterS
			rec.Samples[0][i] *= 1 - 0.05*testsignals.RaisedCosine(s/0.01)*testsignals.RaisedCosine((0.06-s)/0.01)
		}
		_, g, reason := readOutput(rec, nil, played, Grid(rec.RateHz), 0)
		if reason != "" {
			t.Logf("%+.2f s: %s", afterS, reason)
			continue
		}
		worst, m, known := 0.0, g.magnitude(), g.known()
		for i, f := range g.FrequencyHz {
			if off := math.Abs(g.MagnitudeDB(i) - DB(cmplx.Abs(board(f)))); known[i] == isFigure && f > 1500 && f < 4500 {
				worst = math.Max(worst, off/m.Budget(i).Expanded())
			}
		}
		t.Logf("%+.2f s: worst %.2f U", afterS, worst)
		if worst > 1.5 {
			t.Errorf("a dip %+.2f s from when the sweep passes: %.2f U", afterS, worst)
		}
	}
}
