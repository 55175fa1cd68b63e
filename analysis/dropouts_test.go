package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestDropOutsAreFoundWithTheirTimes(t *testing.T) {
	const rate = 48000.0
	rng := rand.New(rand.NewPCG(5, 5))
	x := sine(5*int(rate), rate, 1000, 0.2, 0.3)
	for i := range x {
		switch at := float64(i) / rate; {
		case at >= 1.2 && at < 1.23:
			x[i] *= 0.05
		case at >= 3.4 && at < 3.41:
			x[i] *= 0.7
		}
	}
	addNoise(x, 1e-3, rng)
	events := FindDropOuts(x, rate, 1000)
	if len(events) != 2 {
		t.Fatalf("found %v, want two events", events)
	}
	for i, want := range []Event{{1.2, 0.03, DB(0.05)}, {3.4, 0.01, DB(0.7)}} {
		got := events[i]
		if math.Abs(got.AtS-want.AtS) > 0.003 || math.Abs(got.DurationS-want.DurationS) > 0.004 || math.Abs(got.ChangeDB-want.ChangeDB) > 1 {
			t.Errorf("event %d is %+v, want %+v", i, got, want)
		}
	}
}

func TestSteadyToneHasNoDropOuts(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	for range 20 {
		x := sine(240000, 48000, 1000, 0.2, rng.Float64())
		addNoise(x, 0.02*rng.Float64(), rng)
		if e := FindDropOuts(x, 48000, 1000); len(e) > 0 {
			t.Errorf("a steady tone gave %v", e)
		}
	}
}
