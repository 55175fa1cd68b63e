package randombench

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/analysis"
	"boardproof/capture"
	"boardproof/capture/simboard"
)

// The meter must be off as its budget states it.
func TestMeterIsOffAsStated(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	cfg := simboard.Random(rng)
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	b := &Bench{Config: cfg, Truth: sim.Truth()}
	sum, inside := 0.0, 0
	const draws = 3000
	for range draws {
		e := b.DrawErrors(rng)
		e.meter = b.readMeter(rng, 0)
		limit := e.meter.PercentOfReading/100*e.meter.VoltsRMS + e.meter.DigitsOff*e.meter.ResolutionV
		off := e.meter.VoltsRMS - b.trueMeterVolts(0)
		sum += off * off / ((limit*limit + e.meter.ResolutionV*e.meter.ResolutionV/4) / 3)
		if math.Abs(off) <= limit+e.meter.ResolutionV/2*1.02 {
			inside++
		}
		if math.Abs(e.loadingDB) > 0.1 || e.loadingDB != 0 && e.outputOhms != 0 {
			t.Fatalf("loading %+v", e)
		}
	}
	if ratio := math.Sqrt(sum / draws); math.Abs(ratio-1) > 0.03 || inside < draws*0.99 {
		t.Errorf("the meter's deviations are %.3f of what is stated, %d of %d within its limits", ratio, inside, draws)
	}
	if analysis.DBu(b.trueMeterVolts(0.1))-analysis.DBu(b.trueMeterVolts(0)) < 0.0999 {
		t.Error("the meter does not see the loading")
	}
}

func TestRefused(t *testing.T) {
	if !Refused(fmt.Errorf("calibrating: %w", &capture.BadTake{Reason: "clipped"})) || Refused(errors.New("no such file")) || Refused(nil) {
		t.Error("a take that did not prove itself is not told from other errors")
	}
}
