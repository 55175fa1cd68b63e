package analysis

import (
	"math"
	"math/cmplx"
	"testing"

	"boardproof/testsignals"
)

// allPass2Of is a second-order all-pass.
func allPass2Of(hz, q float64) func(float64) complex128 {
	return func(f float64) complex128 {
		s := complex(0, f/hz)
		return (s*s - s*complex(1/q, 0) + 1) / (s*s + s*complex(1/q, 0) + 1)
	}
}

// All-passes ring without a trace in their magnitude, which is 1 in closed form: what
// the gate's uneven height makes of that is in the uncertainty, where noise is not.
func TestWhatRingsUnseenIsInTheUncertainty(t *testing.T) {
	var played *Played
	for name, h := range map[string]func(float64) complex128{
		"first order, 30 Hz": allPassOf(30), "second order, 210 Hz": allPass2Of(210, 5), "phaser of four, 300 Hz": chain(allPassOf(300), allPassOf(300), allPassOf(300), allPassOf(300)),
	} {
		rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 5), 1e-8, 3, h)
		if played == nil {
			var err error
			if played, err = NewPlayed(rec.Signal); err != nil {
				t.Fatal(err)
			}
		}
		_, g, reason := readOutput(rec, nil, played, Grid(rec.RateHz), 0)
		if reason != "" {
			t.Fatal(name, reason)
		}
		worst, m := 0.0, g.magnitude()
		for i, f := range g.FrequencyHz {
			u := m.Budget(i).Expanded()
			off := math.Abs(g.MagnitudeDB(i) - DB(cmplx.Abs(h(f))))
			if worst = math.Max(worst, off/u); f >= 20 && f <= 20000 && off > 1.5*u || u > 0.01 {
				t.Errorf("%s: %.0f Hz off by %.5f dB, stated %.5f", name, f, off, u)
			}
		}
		t.Logf("%s: worst %.2f U", name, worst)
	}
}
