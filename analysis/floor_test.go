package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A line that the bench has too, at any phase, may be told from it only where
// what the bench can have hidden is a quarter of it at most; otherwise it is a
// bound, and holds.
func TestLineThatTheBenchMayHaveMadeIsABound(t *testing.T) {
	for _, c := range []struct {
		read, bench Estimate
		bound       bool
	}{
		{Estimate{10, 0.1}, Estimate{1, 0.1}, false},
		{Estimate{4, 0.1}, Estimate{1, 0.1}, false},
		{Estimate{2, 0.1}, Estimate{1, 0.1}, true},
		{Estimate{1, 0.1}, Estimate{1, 0.1}, true},
		{Estimate{10, 0.1}, Estimate{}, false},
	} {
		got := takeOffLine(c.read, c.bench)
		if got.upperBound != c.bound || got.floorLimited != c.bound || (got.note != "") != (c.bound || got.benchStd > 0 && c.read.Value < 3.16*c.bench.Value) {
			t.Errorf("%v over the bench's %v: %+v", c.read, c.bench, got)
		}
		if most := c.read.Value + c.bench.Value; c.bound && got.Value < most {
			t.Errorf("%v over the bench's %v: bounded by %g, but it may be %g", c.read, c.bench, got.Value, most)
		}
	}
}

// Hum of many lines against a bench that has the same: what the phases make
// uncertain is that of each line for itself, and the interval is neither too
// narrow nor, as if all hum were one line, much too wide (JCGM 101:2008: by
// drawing the phases).
func TestHumOfManyLinesOverTheBenchs(t *testing.T) {
	const lines, board, bench, draws = 9, 2e-6, 0.5e-6, 4000
	rng := rand.New(rand.NewPCG(1, 1))
	floor := &Floor{Hum: Estimate{bench * math.Sqrt(lines), 0}}
	for range lines {
		floor.Harmonics = append(floor.Harmonics, Estimate{bench, 0})
	}
	truth, sum, stated := board*math.Sqrt(lines), 0.0, 0.0
	for range draws {
		s, power := &Silence{Mains: &Comb{Found: true}}, 0.0
		for h := range lines {
			phase := 2 * math.Pi * rng.Float64()
			rms := math.Hypot(board+bench*math.Cos(phase), bench*math.Sin(phase))
			s.Harmonics = append(s.Harmonics, MainsHarmonic{Harmonic: h + 1, RMS: Estimate{rms, 0}})
			power += rms * rms
		}
		s.Hum.Value = math.Sqrt(power)
		c := floor.takeOffHum(s)
		sum += sq(c.Value-truth) / draws
		stated += sq(c.benchStd) / draws
	}
	if ratio := math.Sqrt(stated / sum); math.Abs(ratio-1) > 0.06 {
		t.Errorf("stated over drawn uncertainty is %.3f", ratio)
	}
}

// Hum of which hardly more is left than what is uncertain of it is a bound.
func TestHumThatIsMostlyTheBenchsIsABound(t *testing.T) {
	floor := &Floor{Hum: Estimate{1e-6, 1e-7}}
	for _, c := range []struct {
		read  Estimate
		bound bool
	}{{Estimate{1.5e-6, 4e-7}, true}, {Estimate{1e-5, 4e-7}, false}} {
		got := floor.takeOffHum(&Silence{Mains: &Comb{Found: true}, Hum: c.read})
		if got.upperBound != c.bound || c.bound && (got.Value < 1.5e-6 || got.Std != 0 || got.note == "") {
			t.Errorf("of %+v is left %+v", c.read, got)
		}
	}
}
