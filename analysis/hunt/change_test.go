package hunt_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// at is a reading of one output whose fundamental is at a level in dB over 1 V.
func at(c hunt.Condition, atS, db, stdDB float64) hunt.Reading {
	v := math.Pow(10, db/20)
	level := hunt.Level{RMS: analysis.Estimate{Value: v, Std: v * stdDB * math.Ln10 / 20}, RawRMS: v}
	return hunt.Reading{Output: "A", Condition: c, AtS: atS, LengthS: 5, Levels: map[string]hunt.Level{hunt.Fundamental: level}}
}

var unplugged = hunt.Condition{Change: hunt.OutputUnplugged, Subject: "A"}

func only(t *testing.T, readings []hunt.Reading) hunt.Change {
	t.Helper()
	changes := hunt.Changes(readings)
	if len(changes) != 1 {
		t.Fatalf("%d changes: %+v", len(changes), changes)
	}
	return changes[0]
}

// JCGM 100:2008, eq. 10: two levels of 0.3 and 0.4 dB, and how well each repeats.
func TestAChangeIsAsUncertainAsBothLevels(t *testing.T) {
	c := only(t, []hunt.Reading{at(hunt.AsFound, 0, -60, 0.3), at(unplugged, 10, -90, 0.4)})
	want := math.Sqrt(0.09 + 0.16 + 2*0.01)
	if math.Abs(c.DB.Value+30) > 1e-9 || math.Abs(c.DB.Std-want) > 1e-3 || c.NoChange || c.Repeats != 1 {
		t.Errorf("%+v, std is to be %g", c, want)
	}
	if got := c.String(); got != "fell by 30.0 ± 1.0 dB" {
		t.Error(got)
	}
	if c := only(t, []hunt.Reading{at(hunt.AsFound, 0, -60, 0.3), at(unplugged, 10, -60.9, 0.4)}); !c.NoChange {
		t.Errorf("0.9 dB is within the uncertainty: %+v", c)
	}
}

func TestABoundIsABound(t *testing.T) {
	bound := at(unplugged, 10, -95, 0)
	l := bound.Levels[hunt.Fundamental]
	l.UpperBound = true
	bound.Levels[hunt.Fundamental] = l
	c := only(t, []hunt.Reading{at(hunt.AsFound, 0, -60, 0.1), bound})
	if !c.AtMost || c.AtLeast || math.Abs(c.DB.Value+35) > 1e-9 || c.NoChange || c.String() != "fell by 35.0 dB or more" {
		t.Errorf("%+v: %s", c, c)
	}
	bound.Condition = hunt.AsFound
	if c := only(t, []hunt.Reading{bound, at(unplugged, 0, -60, 0.1)}); !c.AtLeast || c.AtMost || math.Abs(c.DB.Value-35) > 1e-9 {
		t.Errorf("%+v", c)
	}
}

// Many hunts of scattering repeats: the interval must hold the truth about 95
// times in 100, also where only one condition was repeated.
func TestTheIntervalOfAChangeHoldsIt(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for _, order := range [][]hunt.Condition{
		{hunt.AsFound, unplugged},
		{hunt.AsFound, unplugged, hunt.AsFound, unplugged},
		{hunt.AsFound, hunt.AsFound, unplugged},
		{hunt.AsFound, unplugged, hunt.AsFound, hunt.AsFound, unplugged, unplugged, hunt.AsFound},
	} {
		held, n, widest := 0, 2000, 0.0
		for range n {
			var r []hunt.Reading
			for i, c := range order {
				db := -60 + 0.14*rng.NormFloat64()
				if c == unplugged {
					db -= 12
				}
				r = append(r, at(c, float64(10*i), db, 0.1))
			}
			c := only(t, r)
			widest = max(widest, c.ExpandedDB)
			if math.Abs(c.DB.Value+12) <= c.ExpandedDB {
				held++
			}
		}
		share := float64(held) / float64(n)
		t.Logf("%d takes: held in %.3f, widest ±%.2f dB", len(order), share, widest)
		if share < 0.90 || share > 0.99 || widest > 2 {
			t.Errorf("%d takes: held in %.3f, widest ±%.2f dB", len(order), share, widest)
		}
	}
}

func TestADriftThatShowsIsTakenOut(t *testing.T) {
	var r []hunt.Reading
	for i, c := range []hunt.Condition{hunt.AsFound, unplugged, unplugged, hunt.AsFound, unplugged, hunt.AsFound, unplugged} {
		db := -60 - 0.5*float64(i)
		if c == unplugged {
			db -= 6
		}
		r = append(r, at(c, float64(i), db, 0.02))
	}
	if c := only(t, r); math.Abs(c.DB.Value+6) > 0.05 || c.ExpandedDB > 0.5 {
		t.Errorf("6 dB under a drift of 0.5 dB a take reads %+v", c)
	}
}

func TestRepeatsThatDifferAskForOneMore(t *testing.T) {
	c := only(t, []hunt.Reading{at(hunt.AsFound, 0, -60, 0.1), at(unplugged, 1, -70, 0.1), at(unplugged, 2, -75, 0.1)})
	if c.Moving == "" {
		t.Errorf("%+v", c)
	}
	moving := at(unplugged, 1, -70, 0.1)
	moving.Moving, moving.HumMovesDB = "the hum was not steady", 3
	if c := only(t, []hunt.Reading{at(hunt.AsFound, 0, -60, 0.1), moving}); c.Moving == "" || c.ExpandedDB < 3 {
		t.Errorf("%+v", c)
	}
}
